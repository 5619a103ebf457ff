"""The request socket: understood, refused or dropped, but never waited for."""

import json
import os
import socket
import stat
import struct
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from itertools import chain
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from request_bench import Bench, answer_all, line

from supervisor.control import requests
from supervisor.control.caller import MAX_LINE_BYTES, local_users
from supervisor.control.requests import (
    ACTS,
    LONGEST_REASON,
    MAX_CLIENTS,
    MAX_REQUESTS_PER_CYCLE,
    OPEN_SOCKET_NAME,
    PATIENCE_S,
    SO_PASSRIGHTS,
    SOCKET_NAME,
    Reply,
    Request,
    RequestSocket,
    ask,
    open_socket,
    request_sockets,
)
from supervisor.simulator.clock import SimulatedClock


def was_dropped(send: Callable[[], None], serve: Callable[[], object]) -> bool:
    """Whether the other side hangs up within 50 rounds."""
    try:
        for _ in range(50):
            send()
            serve()
    except (BrokenPipeError, ConnectionResetError):
        return True
    return False


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    bench = Bench(tmp_path)
    yield bench
    bench.close()


def test_a_request_comes_in_with_who_asked_and_is_answered(bench: Bench) -> None:
    client = bench.connect()
    client.sendall(b'{"act": "reset", "reason": "lead re-fastened"}\n')
    (request,) = bench.take()
    assert (request.act, request.reason) == ("reset", "lead re-fastened")
    assert request.who == local_users().get(os.getuid(), f"user {os.getuid()}")
    request.answer(Reply(True, "done", "open"))
    bench.inbox.take()
    assert json.loads(client.recv(4096)) == {
        "done": True, "message": "done", "circuit": "open", "data": None,
    }  # fmt: skip


def test_a_line_may_come_in_pieces(bench: Bench) -> None:
    client = bench.connect()
    client.sendall(b'{"act": ')
    assert bench.take() == []
    client.sendall(b'"open"}\n')
    assert [r.act for r in bench.take()] == ["open"]


@pytest.mark.parametrize(
    "line",
    [b"close", b"{}", b"[]", b"null", b'{"act": "explode"}', b'{"act": "open", "reason": 3}',
     b"\xff\xfe", b'{"act": ["open"]}', b"[" * 3000],
)  # fmt: skip
def test_what_is_not_understood_is_refused_in_words(bench: Bench, line: bytes) -> None:
    client = bench.connect()
    client.sendall(line + b"\n")
    assert bench.take() == []
    reply = json.loads(client.recv(4096))
    assert reply["done"] is False
    assert "close, open, profile, reset, silence, status" in reply["message"]


@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(garbage=st.binary(max_size=200))
def test_no_bytes_make_it_raise(bench: Bench, garbage: bytes) -> None:
    client = bench.connect()
    client.sendall(garbage)
    client.shutdown(socket.SHUT_WR)
    for request in bench.take():
        assert request.act in ("close", "open", "reset", "status")
    client.close()
    bench.take()


CONNECT, SEND, HALF, HANG_UP, TAKE = range(5)


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    steps=st.lists(
        st.tuples(st.sampled_from((CONNECT, SEND, HALF, HANG_UP, TAKE)), st.integers(0, 30)),
        max_size=120,
    )
)
@example(steps=[(CONNECT, 0)] * MAX_CLIENTS + [(TAKE, 0), (CONNECT, 0), (SEND, 0), (TAKE, 0)])
def test_no_order_of_coming_asking_and_going_makes_it_raise(
    bench: Bench, steps: list[tuple[int, int]]
) -> None:
    """All of it may fall into one poll; who asks is heard, or dropped, and nobody else is hurt."""
    connected: list[socket.socket] = []

    def serve() -> None:
        answer_all(bench.inbox.take())

    for step, which in steps:
        if step == CONNECT and len(connected) < 3 * MAX_CLIENTS:
            connected.append(bench.connect())
        elif step == TAKE:
            serve()
        elif connected:
            client = connected[which % len(connected)]
            with suppress(OSError):
                if step == HANG_UP:
                    client.close()
                else:
                    client.sendall(b'{"act": "open"}\n' if step == SEND else b'{"act"')
    for client in connected:
        client.close()
    for _ in range(120):  # each may have asked that often
        serve()
    assert not bench.inbox._clients


def test_after_an_error_it_starts_again_without_its_clients(bench: Bench) -> None:
    client = bench.connect()
    bench.take()
    bench.inbox._selector.close()
    with pytest.raises((ValueError, RuntimeError, KeyError, TypeError)):
        bench.inbox.take()
    bench.inbox.start_again()
    assert client.recv(1) == b""
    again = bench.connect()
    again.sendall(b'{"act": "open"}\n')
    assert [r.act for r in bench.take()] == ["open"]


@pytest.mark.parametrize("sent", ["lead f\udcfcr 3", "one\nERROR two", "a\x00b\x1b[31m", "\u2028"])
def test_a_reason_is_one_line_that_every_file_takes(bench: Bench, sent: str) -> None:
    client = bench.connect()
    client.sendall(json.dumps({"act": "open", "reason": sent}).encode() + b"\n")
    (request,) = bench.take()
    assert request.reason.isprintable()
    assert len(request.reason) == len(sent)


def test_a_crowd_of_one_user_makes_room_for_another(bench: Bench) -> None:
    crowd = [bench.connect() for _ in range(MAX_CLIENTS)]
    bench.take()
    first = next(iter(bench.inbox._clients.values()))
    first.who, first.gives_up_at_s = "somebody else", 0.0  # the longest idle of all
    bench.connect()
    bench.inbox.take()
    assert first in bench.inbox._clients.values()
    assert len(bench.inbox._clients) == MAX_CLIENTS == len(crowd)


def test_who_hung_up_is_heard_all_the_same(bench: Bench) -> None:
    """Several in one cycle, which takes two: the last waits, and its client is gone by then."""
    for _ in range(MAX_CLIENTS):
        client = bench.connect()
        client.sendall(b'{"act": "open"}\n')
        client.close()
    taken = bench.take()
    assert [r.act for r in taken] == ["open"] * MAX_CLIENTS
    answer_all(taken)
    bench.inbox.take()
    assert not bench.inbox._clients


def test_who_hung_up_after_two_lines_is_heard_twice(bench: Bench) -> None:
    """That the first answer cannot be delivered is no reason to miss the second."""
    client = bench.connect()
    client.sendall(b'{"act": "silence"}\n{"act": "open"}\n')
    client.close()
    acts = []
    for request in chain.from_iterable(bench.inbox.take() for _ in range(4)):
        acts.append(request.act)
        request.answer(Reply(True, "", "open"))
    assert acts == ["open", "silence"]


def test_who_has_hung_up_is_known_with_what_he_asked_for(bench: Bench) -> None:
    stays = bench.connect()
    stays.sendall(b'{"act": "close"}\n')
    (asked,) = bench.take()
    assert asked.why_no_longer(bench.clock.now_s()) == ""
    stays.close()
    bench.take()
    assert "hung up" in asked.why_no_longer(bench.clock.now_s())


def test_an_open_counts_from_when_it_was_read_and_all_else_from_when_it_may_have_come(
    bench: Bench,
) -> None:
    """Between two looks nobody knows which of them came first."""
    bench.clock.sleep_until(1.0)
    bench.take()
    both = bench.connect(), bench.connect()
    for client, act in zip(both, ("open", "close"), strict=True):
        client.sendall(json.dumps({"act": act}).encode() + b"\n")
    bench.clock.sleep_until(4.0)
    came_at_s = {request.act: request.came_at_s for request in bench.take()}
    assert came_at_s == {"open": 4.0, "close": 1.0}
    both[1].sendall(b'{"act": "close"}\n')
    bench.clock.sleep_until(5.0)
    assert [request.came_at_s for request in bench.take()] == [4.0]


def test_who_waits_in_the_kernels_queue_counts_from_before(bench: Bench) -> None:
    """All places are taken by some who have asked: nobody sees when he came."""
    for _ in range(MAX_CLIENTS):
        bench.connect().sendall(b'{"act": "status"}\n')
    statuses = bench.take()
    bench.clock.sleep_until(1.0)
    bench.connect().sendall(b'{"act": "close"}\n')
    bench.clock.sleep_until(9.0)
    statuses += bench.take()
    answer_all(statuses)
    came_at_s = [request.came_at_s for request in bench.take() if request.act == "close"]
    assert came_at_s == [0.0]


@pytest.mark.parametrize("most", [0, 1, MAX_REQUESTS_PER_CYCLE])
def test_who_wants_to_open_comes_before_all_others_and_needs_no_room(
    bench: Bench, most: int
) -> None:
    for act in ("status", "close", "status", "open"):
        bench.connect().sendall(json.dumps({"act": act}).encode() + b"\n")
    taken = bench.inbox.take(most)
    assert [r.act for r in taken] == ["open", "status", "close"][: 1 + most]


def test_a_flood_of_opens_does_not_pile_up_while_nobody_takes_them(bench: Bench) -> None:
    for _ in range(MAX_CLIENTS):
        bench.connect().sendall(b'{"act": "open"}\n' * 100)
    taken = [request for _ in range(100) for request in bench.inbox.take(0)]
    assert len(taken) <= MAX_CLIENTS


@pytest.mark.parametrize("lines", [1, 100])
def test_nobody_who_has_asked_makes_room_for_a_crowd(bench: Bench, lines: int) -> None:
    """Of as many users as there are places, more of them each cycle than it takes: all wait in
    turn, and who has been heard makes room, whatever else he has to say."""
    heard = 0
    for _ in range(40):
        for _ in range(MAX_REQUESTS_PER_CYCLE + 1):
            bench.connect().sendall(b'{"act": "open"}\n' * lines)
        for request in bench.inbox.take():
            heard += 1
            request.answer(Reply(True, "", "open"))
        for number, client in enumerate(bench.inbox._clients.values()):
            client.who = f"user {number}"
    assert heard == 40 * MAX_REQUESTS_PER_CYCLE
    answered = 0
    for connection in bench.clients:
        connection.setblocking(False)
        with suppress(BlockingIOError):  # then it still waits
            assert connection.recv(100), "dropped without an answer"
            answered += 1
    assert answered >= 40


def test_an_endless_line_is_dropped(bench: Bench) -> None:
    client = bench.connect()
    assert was_dropped(lambda: client.sendall(b"x" * MAX_LINE_BYTES), bench.take)


def test_the_silent_are_dropped_in_time(bench: Bench) -> None:
    silent = [bench.connect() for _ in range(MAX_CLIENTS)]
    bench.take()
    bench.clock.sleep_until(PATIENCE_S + 0.1)
    bench.take()
    assert all(client.recv(1) == b"" for client in silent)


def test_a_crowd_of_idle_clients_does_not_keep_open_out(bench: Bench) -> None:
    """They come back as fast as they are dropped; whoever asks is served all the same."""
    for _ in range(5):
        for _ in range(MAX_CLIENTS):
            bench.connect()
            bench.take()
        asking = bench.connect()
        asking.sendall(b'{"act": "open"}\n')
        assert [r.act for r in bench.take()] == ["open"]


def test_a_flood_of_requests_costs_few_a_cycle_and_starves_nobody(bench: Bench) -> None:
    flood = [bench.connect() for _ in range(MAX_CLIENTS - 1)]
    for client in flood:
        client.sendall(b'{"act": "status"}\n' * 100)
    asking = bench.connect()
    bench.take()
    asking.sendall(b'{"act": "open"}\n')
    cycles = [[r.act for r in bench.inbox.take()] for _ in range(MAX_CLIENTS)]
    assert max(map(len, cycles)) <= 2 * MAX_REQUESTS_PER_CYCLE
    assert any("open" in acts for acts in cycles)


def test_who_waits_for_an_answer_is_not_dropped_for_being_patient(bench: Bench) -> None:
    client = bench.connect()
    client.sendall(b'{"act": "close"}\n')
    (request,) = bench.take()
    bench.clock.sleep_until(10 * PATIENCE_S)
    bench.take()
    request.answer(Reply(True, "closed after a slow disk", "closed"))
    bench.take()
    assert b"slow disk" in client.recv(4096)


def test_a_client_that_never_reads_is_dropped_and_holds_nobody_up(bench: Bench) -> None:
    client = bench.connect()
    big = Reply(True, "x" * 100_000, "open")

    def answer() -> None:
        for request in bench.take():
            request.answer(big)

    assert was_dropped(lambda: client.sendall(b'{"act": "status"}\n'), answer)


def test_several_lines_at_once_come_in_one_by_one(bench: Bench) -> None:
    client = bench.connect()
    client.sendall(b'{"act": "open"}\n{"act": "status"}\n')
    taken = [[r.act for r in bench.inbox.take()] for _ in range(4)]
    assert [acts for acts in taken if acts] == [["open"], ["status"]]


def test_only_owner_and_group_may_ask(bench: Bench) -> None:
    mode = stat.S_IMODE((bench.folder / "requests.sock").stat().st_mode)
    assert mode == 0o660


# --- the second one, for everybody


class Doors:
    """Both sockets of a daemon, polled in turn, and their clients."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        clock = SimulatedClock()
        self.inboxes = [RequestSocket(folder, clock), open_socket(folder, clock)]
        self.clients: list[socket.socket] = []

    def connect(self, name: str) -> socket.socket:
        client = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        client.settimeout(2)
        client.connect(str(self.folder / name))
        self.clients.append(client)
        return client

    def cycle(self) -> list[Request]:
        return [request for inbox in self.inboxes for request in inbox.take()]

    def close(self) -> None:
        for closes in (*self.inboxes, *self.clients):
            closes.close()


@pytest.fixture
def doors(tmp_path: Path) -> Iterator[Doors]:
    doors = Doors(tmp_path)
    yield doors
    doors.close()


def test_everybody_may_ask_to_open_and_only_the_group_for_more(doors: Doors) -> None:
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in doors.folder.iterdir()}
    assert modes == {SOCKET_NAME: 0o660, OPEN_SOCKET_NAME: 0o666}


@pytest.mark.parametrize("act", [act for act in ACTS if act != "open"])
def test_the_socket_for_open_does_nothing_else(doors: Doors, act: str) -> None:
    client = doors.connect(OPEN_SOCKET_NAME)
    client.sendall(json.dumps({"act": act, "reason": "for a try"}).encode() + b"\n")
    assert [doors.cycle() for _ in range(4)] == [[]] * 4
    reply = json.loads(client.recv(4096))
    assert reply["done"] is False
    assert "one of open," in reply["message"]


def test_both_are_gone_with_the_daemon(tmp_path: Path) -> None:
    doors = Doors(tmp_path)
    doors.close()
    assert list(tmp_path.iterdir()) == []


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.sampled_from(
            [b'{"act": "open"}\n' * 100, b"garbage\n" * 200, b"x" * MAX_LINE_BYTES, b"", b"{"]
        ),
        max_size=2 * MAX_CLIENTS,
    )
)
def test_a_flood_there_leaves_the_other_as_it_was(doors: Doors, flood: list[bytes]) -> None:
    """Whatever comes at the open one: who asks at the other is heard as soon as with none of it,
    and no cycle takes more than the bounds of both."""
    waiting = iter(flood)
    asking = doors.connect(SOCKET_NAME)
    asking.sendall(b'{"act": "close"}\n')
    heard_in = None
    for cycle in range(1, 2 * MAX_CLIENTS):
        if (sends := next(waiting, None)) is not None:
            crowd = doors.connect(OPEN_SOCKET_NAME)
            crowd.sendall(sends)
        taken = doors.cycle()
        answer_all(taken)
        assert len(taken) <= 2 * MAX_REQUESTS_PER_CYCLE
        assert [r.act for r in taken].count("open") <= MAX_REQUESTS_PER_CYCLE
        if any(request.act == "close" for request in taken):
            heard_in = cycle
            break
    assert heard_in == 1
    for client in doors.clients:
        client.close()
    doors.clients.clear()
    for _ in range(100 * MAX_CLIENTS):  # whoever hung up is heard all the same
        answer_all(doors.cycle())


def test_a_crowd_there_does_not_keep_one_who_opens_out(doors: Doors) -> None:
    for _ in range(5):
        for _ in range(MAX_CLIENTS):
            doors.connect(OPEN_SOCKET_NAME)
            doors.cycle()
        asking = doors.connect(OPEN_SOCKET_NAME)
        asking.sendall(b'{"act": "open"}\n')
        assert [r.act for _ in range(3) for r in doors.cycle()] == ["open"]


def lingering() -> tuple[socket.socket, socket.socket]:
    """A connection whose close waits for an hour (socket(7), SO_LINGER), and its silent peer."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        lingers = socket.create_connection(listening.getsockname())
        silent, _ = listening.accept()
    lingers.setblocking(False)
    with suppress(BlockingIOError):
        while True:
            lingers.send(b"x" * 65536)
    lingers.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 3600))
    lingers.setblocking(True)
    return lingers, silent


def send_along(path: Path, line: bytes, descriptor: int) -> socket.socket:
    client = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    client.connect(str(path))
    rights = [(socket.SOL_SOCKET, socket.SCM_RIGHTS, struct.pack("i", descriptor))]
    try:
        client.sendmsg([line], rights)
    except OSError:
        client.close()
        raise
    return client


@pytest.mark.parametrize("line", [b'{"act": "open"}\n', b"{", b"x" * (MAX_LINE_BYTES + 1)])
def test_a_descriptor_sent_along_holds_up_no_loop_and_not_the_other_socket(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, line: bytes
) -> None:
    """By a kernel before 6.16, which lets everybody send one. Whoever closes it waits an hour."""
    monkeypatch.setattr(requests, "SO_PASSRIGHTS", -1)
    inboxes = request_sockets(tmp_path, SimulatedClock())
    lingers, silent = lingering()
    left = threading.Event()

    def cycle_until_left() -> None:
        while not left.is_set():
            for inbox in inboxes:
                answer_all(inbox.take())

    loop = threading.Thread(target=cycle_until_left, daemon=True)
    loop.start()
    try:
        with send_along(tmp_path / OPEN_SOCKET_NAME, line, lingers.fileno()):
            # Aside: where the other copy is gone already, this is the close that waits.
            threading.Thread(target=lingers.close, daemon=True).start()
            for _ in range(3):
                assert ask(tmp_path, "silence", patience_s=10).done
    finally:
        left.set()
        loop.join(10)
        assert not loop.is_alive(), "held up"
        silent.close()  # the hour ends
        for inbox in inboxes:
            inbox.close()


def test_a_newer_kernel_refuses_descriptors(doors: Doors) -> None:
    supported = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        supported.getsockopt(socket.SOL_SOCKET, SO_PASSRIGHTS)
    except OSError:
        pytest.skip("this kernel has no SO_PASSRIGHTS")
    finally:
        supported.close()
    for name in (SOCKET_NAME, OPEN_SOCKET_NAME):
        with pytest.raises(PermissionError):
            send_along(doors.folder / name, b"{", 0)


def test_a_socket_left_by_a_dead_daemon_is_replaced(tmp_path: Path) -> None:
    left = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    left.bind(str(tmp_path / "requests.sock"))
    left.close()
    bench = Bench(tmp_path)
    bench.connect()
    bench.close()


def test_asking_waits_for_the_answer(bench: Bench) -> None:
    answered = threading.Event()

    def serve() -> None:
        while not answered.is_set():
            for request in bench.inbox.take():
                request.answer(Reply(True, "the coil is dropped", "open"))

    daemon = threading.Thread(target=serve)
    daemon.start()
    try:
        assert ask(bench.folder, "open") == Reply(True, "the coil is dropped", "open")
    finally:
        answered.set()
        daemon.join()


@pytest.mark.parametrize("reason", ["x" * 9000, "\N{BATTERY}" * 9000])
def test_a_reason_too_long_for_a_line_is_cut_before_it_is_sent(bench: Bench, reason: str) -> None:
    heard: list[str] = []
    answered = threading.Event()

    def serve() -> None:
        while not answered.is_set():
            for request in bench.inbox.take():
                heard.append(request.reason)
                request.answer(Reply(True, "the coil is dropped", "open"))

    daemon = threading.Thread(target=serve)
    daemon.start()
    try:
        assert ask(bench.folder, "open", reason).done
    finally:
        answered.set()
        daemon.join()
    assert heard == [reason[:LONGEST_REASON]]


def test_a_long_reason_of_a_stranger_is_cut_as_it_is_read(bench: Bench) -> None:
    bench.connect().sendall(line("open", "x" * (LONGEST_REASON + 1)))
    (request,) = bench.take()
    assert request.reason == "x" * LONGEST_REASON


def test_asking_nobody_says_so(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        ask(tmp_path, "open")
