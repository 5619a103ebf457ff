"""In which order requests are heard, and from when they count: an ``open`` before all others.

Nobody reads a socket at the moment at which something is sent. What is sent before an ``open`` may
not seem to be sent after it, and a ``close`` may not seem younger than it is.
"""

import socket
import struct
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from request_bench import Bench, answer_all, line

from supervisor.control import requests
from supervisor.control.caller import MAX_LINE_BYTES
from supervisor.control.requests import MAX_CLIENTS, MAX_REQUESTS_PER_CYCLE, Request


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    bench = Bench(tmp_path)
    yield bench
    bench.close()


# --- whose turn it is

BEFORE = {
    "nothing": b"",
    "close": line("close"),
    "close, because open": line("close", "open"),
    "many": line("status") * 40,
    "reset and profile": line("reset", "looked at it") + line("profile"),
    "garbage": b'"open"\n{"act": "opens"}\n\n',
}


@pytest.mark.parametrize("is_taken", [False, True])
@pytest.mark.parametrize("before", BEFORE.values(), ids=BEFORE)
def test_an_open_comes_before_all_others_whatever_its_sender_asked_before(
    bench: Bench, before: bytes, is_taken: bool
) -> None:
    """Unless what was asked before is an open as well; read with it, or taken and unanswered."""
    for _ in range(MAX_CLIENTS - 1):
        bench.connect().sendall(line("status") * 90)
    asks = bench.connect()
    while len(bench.inbox._clients) < MAX_CLIENTS:
        bench.inbox.take(0)
    asks.sendall(before)
    if is_taken:
        bench.take()
    asks.sendall(line("open", "smoke"))
    assert [(r.act, r.reason) for r in bench.inbox.take(0)] == [("open", "smoke")]


def test_an_open_waits_for_the_answer_to_another_of_its_sender(bench: Bench) -> None:
    asks = bench.connect()
    asks.sendall(line("close") + line("open", "first") + line("open", "second"))
    taken = [request for _ in range(9) for request in bench.inbox.take(0)]
    assert [request.reason for request in taken] == ["first"]
    answer_all(taken)
    assert [request.reason for request in bench.inbox.take(0)] == ["second"]


@pytest.mark.parametrize("flooders", [1, 2, MAX_CLIENTS - 1])
@pytest.mark.parametrize("act", ["open", "status"])
def test_a_flood_of_opens_starves_nobody(bench: Bench, flooders: int, act: str) -> None:
    for _ in range(flooders):
        bench.connect().sendall(line("open") * 90)
    bench.connect().sendall(line(act, "the other"))
    heard: list[str] = []
    for _ in range(MAX_CLIENTS):
        taken = bench.inbox.take()
        assert len(taken) <= 2 * MAX_REQUESTS_PER_CYCLE
        heard += [request.reason for request in taken]
        answer_all(taken)
    assert "the other" in heard


def test_an_open_that_there_is_no_room_for_is_left_where_it_is(bench: Bench) -> None:
    for number in range(MAX_CLIENTS):
        with bench.connect() as asks:
            asks.sendall(line("open", str(number)))
    for _ in range(5):
        assert bench.inbox.take(0, 0) == []
    heard: list[str] = []
    for _ in range(MAX_CLIENTS):
        (request,) = bench.inbox.take(0, 1)
        heard.append(request.reason)
        answer_all([request])
    assert sorted(heard) == [str(number) for number in range(MAX_CLIENTS)]


@pytest.mark.parametrize("act", ["status", "close", "garbage"])
def test_who_was_heard_with_something_else_is_not_put_out_as_he_asks_to_open(
    bench: Bench, act: str
) -> None:
    """By a crowd that comes at the same moment; it is his first ``open``."""
    for number in range(MAX_CLIENTS):
        bench.connect().sendall(line(act, str(number)))
    answer_all(bench.take())
    bench.inbox.take()
    for number, client in enumerate(tuple(bench.clients)):
        client.sendall(line("open", str(number)))
    for _ in range(MAX_CLIENTS):
        bench.connect()
    heard = [r.reason for _ in range(5) for r in bench.inbox.take()]
    assert sorted(heard) == [str(number) for number in range(MAX_CLIENTS)]


@pytest.mark.parametrize("before", [b"", line("status"), b'{"act": '])
def test_who_asks_to_open_as_his_time_is_up_is_heard(bench: Bench, before: bytes) -> None:
    asks = bench.connect()
    asks.sendall(before)
    answer_all(bench.take())
    bench.inbox.take()
    bench.clock.sleep_until(60.0)
    asks.sendall(line("open").removeprefix(before))
    assert [request.act for request in bench.take()] == ["open"]


# --- from when it counts


def test_who_comes_while_it_rests_counts_from_before(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The thread may stand between his coming and its own going on."""
    bench.clock.sleep_until(1.0)
    real = bench.inbox._selector.select

    def stands(at_most_s: float) -> object:
        if at_most_s:
            bench.clock.sleep_until(1.5)
            bench.connect().sendall(line("close"))
            bench.clock.sleep_until(9.0)
        return real(0)

    monkeypatch.setattr(bench.inbox._selector, "select", stands)
    bench.inbox.rest(0.1)
    (request,) = bench.take()
    assert request.came_at_s == 1.0
    assert "asked 8.0 s ago" in request.why_no_longer(9.0)


LONG = line("status", "x" * (MAX_LINE_BYTES - len(line("status"))))  # as much as a look reads


def send_padded(client: socket.socket) -> None:
    client.sendall(9 * LONG)


def send_with_descriptors(client: socket.socket) -> None:
    """By a kernel before 6.16: a read ends with each, unix(7), and is short without being all."""
    rights = [(socket.SOL_SOCKET, socket.SCM_RIGHTS, struct.pack("i", client.fileno()))]
    for _ in range(9):
        client.sendmsg([line("status")], rights)


@pytest.mark.parametrize("send_before", [send_padded, send_with_descriptors])
@pytest.mark.parametrize("is_let_in", [False, True])
def test_what_no_look_has_reached_counts_from_when_all_before_it_was_read(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    send_before: Callable[[socket.socket], None],
    is_let_in: bool,
) -> None:
    monkeypatch.setattr(requests, "SO_PASSRIGHTS", -1)
    taken: list[Request] = []
    with closing(Bench(tmp_path)) as bench:
        asks = bench.connect()
        if is_let_in:
            bench.inbox.take()
        bench.clock.sleep_until(1.0)
        bench.inbox.take()
        asks.setblocking(False)
        send_before(asks)
        asks.sendall(line("close"))
        for at_s in range(2, 30):
            bench.clock.sleep_until(float(at_s))
            newest = bench.inbox.take()
            answer_all(newest)
            taken += newest
            with suppress(BlockingIOError):
                asks.recv(4096)
    (close,) = (request for request in taken if request.act == "close")
    assert close.came_at_s <= 1.0


CLIENTS = 3
steps = st.one_of(
    st.tuples(st.just("look"), st.integers(0, 2), st.integers(0, 2)),
    st.tuples(st.just("rest"), st.integers(0, CLIENTS - 1), st.sampled_from(["close", "open"])),
    st.tuples(st.just("send"), st.integers(0, CLIENTS - 1), st.sampled_from(["close", "open"])),
    st.tuples(st.just("half"), st.integers(0, CLIENTS - 1), st.sampled_from(["close", "open"])),
    st.tuples(st.just("long"), st.integers(0, CLIENTS - 1), st.just("status")),
    st.tuples(st.just("hang up"), st.integers(0, CLIENTS - 1), st.just("")),
    st.tuples(st.just("answer"), st.just(0), st.just("")),
)
Step = tuple[str, int, int | str]


class Told:
    """A bench on whose clock every step takes a second; each reason says when it was sent."""

    def __init__(self, bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
        self.bench, self.patch = bench, monkeypatch
        self.by_number: dict[int, socket.socket] = {}
        self.taken: list[Request] = []
        self.answered = 0

    def do(self, step: Step) -> None:
        act, number, what = step
        self._second()
        match act:
            case "look":
                self.taken += self.bench.inbox.take(number, int(what))
            case "rest":
                self._rest(number, str(what))
            case "send":
                self._send(number, self._line(str(what)))
            case "half":
                said = self._line(str(what))
                self._send(number, said[:9])
                self._second()
                self.taken += self.bench.inbox.take(0, 0)
                self._send(number, said[9:])
            case "long":
                self._send(number, LONG)
            case "hang up":
                if client := self.by_number.pop(number, None):
                    client.close()
            case "answer":
                answer_all(self.taken[self.answered :])
                self.answered = len(self.taken)

    def _second(self) -> None:
        self.bench.clock.sleep_until(self.bench.clock.now_s() + 1.0)

    def _line(self, act: str) -> bytes:
        return line(act, str(self.bench.clock.now_s()))

    def _send(self, number: int, said: bytes) -> None:
        if number not in self.by_number:
            self.by_number[number] = self.bench.connect()
            self.by_number[number].setblocking(False)
        try:
            self.by_number[number].sendall(said)
        except OSError:  # dropped for too much
            self.by_number.pop(number).close()

    def _rest(self, number: int, what: str) -> None:
        """Somebody comes meanwhile, and it takes a second to be seen."""
        real = self.bench.inbox._selector.select

        def stands(at_most_s: float) -> object:
            if at_most_s:
                self._second()
                self._send(number, self._line(what))
                self._second()
            return real(0)

        with self.patch.context() as patched:
            patched.setattr(self.bench.inbox._selector, "select", stands)
            self.bench.inbox.rest(0.1)


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(story=st.lists(steps, max_size=40))
@example(story=[("rest", 0, "close"), ("send", 1, "open"), ("look", 2, 0), ("look", 0, 2)])
@example(story=[("long", 0, "status")] * 3 + [("send", 0, "close"), ("send", 1, "open")])
@example(story=[("send", 0, "close"), ("send", 0, "open"), ("look", 0, 1), ("look", 1, 0)])
def test_nothing_that_was_sent_before_an_open_counts_as_sent_after_it(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch, story: list[Step]
) -> None:
    """And nothing that may close counts from later than it was sent."""
    with closing(Bench(tmp_path_factory.mktemp("run"))) as bench:
        told = Told(bench, monkeypatch)
        for step in story:
            told.do(step)
        for _ in range(60):
            told.do(("answer", 0, ""))
            told.do(("look", 2, 2))
    opens = [request for request in told.taken if request.act == "open"]
    for close in (request for request in told.taken if request.act == "close"):
        sent_at_s = float(close.reason)
        assert close.came_at_s <= sent_at_s
        for opened in opens:
            if sent_at_s <= float(opened.reason):
                assert close.came_at_s <= opened.came_at_s


# --- a last line that nothing ends


@pytest.mark.parametrize("before", [b"", line("status"), line("status") * 3])
@pytest.mark.parametrize("pieces", [1, 2])
@pytest.mark.parametrize("hangs_up", [False, True])
def test_the_end_of_what_is_sent_ends_its_last_line(
    bench: Bench, before: bytes, pieces: int, hangs_up: bool
) -> None:
    asks = bench.connect()
    said = before + line("open", "smoke")[:-1]
    for piece in (said[:-5], said[-5:]) if pieces == 2 else (said,):
        asks.sendall(piece)
        if pieces == 2:
            answer_all(bench.take())
    if hangs_up:
        asks.close()
    else:
        asks.shutdown(socket.SHUT_WR)
    heard: list[str] = []
    for _ in range(9):
        taken = bench.inbox.take()
        heard += [request.reason for request in taken if request.act == "open"]
        answer_all(taken)
    assert heard == ["smoke"]
    assert not bench.inbox._clients
    if not hangs_up:
        answers = asks.makefile("rb").readlines()
        assert len(answers) == before.count(b"\n") + 1


@pytest.mark.parametrize("ends_the_line", [True, False])
def test_who_hung_up_before_his_answer_is_heard_with_what_he_sent_since(
    bench: Bench, ends_the_line: bool
) -> None:
    """That an answer cannot be delivered is found before all that he sent is read."""
    asks = bench.connect()
    asks.sendall(line("status"))
    taken = bench.take()
    asks.sendall(line("open")[: None if ends_the_line else -1])
    asks.close()
    answer_all(taken)
    assert [request.act for request in bench.take()] == ["open"]


def test_nothing_closes_for_a_last_line_whose_sender_may_have_gone(bench: Bench) -> None:
    asks = bench.connect()
    asks.sendall(line("close")[:-1])
    assert bench.take() == []
    asks.shutdown(socket.SHUT_WR)
    (request,) = bench.take()
    assert "hung up" in request.why_no_longer(bench.clock.now_s())


def test_half_a_last_line_is_refused_in_words(bench: Bench) -> None:
    asks = bench.connect()
    asks.sendall(b'{"act": "op')
    asks.shutdown(socket.SHUT_WR)
    assert bench.take() == []
    assert b"not understood" in asks.recv(4096)


@pytest.mark.parametrize(
    "text",
    [
        b'{"act": "open", "act": "close"}',
        b'{"act": "open", "reason": "x", "act": "reset"}',
    ],
)
def test_a_line_with_two_acts_is_none(bench: Bench, text: bytes) -> None:
    """One of them to open: which would it be?"""
    client = bench.connect()
    client.sendall(text + b"\n")
    assert bench.take() == []
    assert b"not understood" in client.recv(4096)
