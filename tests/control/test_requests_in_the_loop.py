"""Requests while the loop is away, as it is while a bad card takes its time to write.

Nothing closes for one who may have left, nor after an ``open`` that came later.
"""

import json
import socket
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from loop_bench import LoopBench, with_level_drive

from supervisor.control.aside import HANGS_AFTER_S, Aside
from supervisor.control.latch import Kept, Lockout
from supervisor.control.requests import (
    OPEN_SOCKET_NAME,
    SOCKET_NAME,
    Inbox,
    Mailbox,
    ask,
    request_sockets,
)
from supervisor.protection.decision import Decision
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Circuit


class Doors:
    """A whole loop with the real sockets, on one clock, and who asks there."""

    def __init__(self, settings: SupervisorSettings, folder: Path) -> None:
        self.run_dir = folder / "run"
        self.run_dir.mkdir()
        self.bench = LoopBench(with_level_drive(settings), folder)
        self.bench.world.knob(0.64)
        self.inboxes: list[Inbox] = request_sockets(self.run_dir, self.bench.clock)
        self.wire()
        self.asking: list[socket.socket] = []
        self.bench.run(12.0)
        assert self.bench.loop.guard.circuit is Circuit.OPEN

    def wire(self) -> None:
        inboxes = [self.bench.mailbox, *self.inboxes]
        self.bench.loop._parts = replace(self.bench.loop._parts, inboxes=inboxes)

    def told(self) -> list[str]:
        """Codes of the events."""
        return [event.code for event in self.bench.loop._logbook.events()]

    def say(self, act: str, name: str = SOCKET_NAME) -> socket.socket:
        client = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        client.settimeout(10)
        client.connect(str(self.run_dir / name))
        client.sendall(json.dumps({"act": act}).encode() + b"\n")
        self.asking.append(client)
        self.let_them_look()
        return client

    def let_them_look(self) -> None:
        """Until each thread has looked at its clients, from the beginning to the end."""
        for inbox in self.inboxes:
            assert isinstance(inbox, Aside)
            if inbox.is_served:
                looked = threading.Semaphore(0)
                real = inbox._served.rest

                def rest(
                    at_most_s: float,
                    real: Callable[[float], None] = real,
                    looked: threading.Semaphore = looked,
                ) -> None:
                    looked.release()
                    real(at_most_s)

                inbox._served.rest = rest  # type: ignore[method-assign]
                for _ in range(3):
                    assert looked.acquire(timeout=10)
                inbox._served.rest = real  # type: ignore[method-assign]

    def next_write_takes(self, seconds: float, meanwhile: Callable[[], object]) -> None:
        """Half of the time before it, half of it after."""
        latch, clock = self.bench.loop._parts.latch, self.bench.clock
        real = latch._write

        def slow(state: dict[str, Any], keep: Kept) -> None:
            latch._write = real  # type: ignore[method-assign]
            clock.sleep_until(clock.now_s() + seconds / 2)
            self.let_them_look()
            meanwhile()
            self.let_them_look()
            clock.sleep_until(clock.now_s() + seconds / 2)
            real(state, keep)

        latch._write = slow  # type: ignore[method-assign]

    def cycle(self, cycles: int) -> None:
        for _ in range(cycles):
            self.let_them_look()
            self.bench.loop.cycle()
        self.let_them_look()

    @property
    def is_told_to_close(self) -> bool:
        return bool(self.bench.spells_on())

    def close(self) -> None:
        for client in self.asking:
            client.close()
        for inbox in self.inboxes:
            inbox.close()


@pytest.fixture
def doors(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Doors]:
    monkeypatch.setattr("supervisor.control.aside.BEAT_S", 0.001)
    monkeypatch.setattr("supervisor.control.aside.IDLE_S", 0.001)
    monkeypatch.setattr("supervisor.control.aside.AGAIN_AFTER_S", 0.001)
    doors = Doors(hut_settings, tmp_path)
    yield doors
    doors.close()


def answer(client: socket.socket) -> dict[str, Any]:
    reply: dict[str, Any] = json.loads(client.makefile("rb").readline())
    return reply


def nothing() -> None:
    pass


def test_a_slow_card_alone_is_no_reason_not_to_close(doors: Doors) -> None:
    doors.next_write_takes(1.0, nothing)
    client = doors.say("close")
    doors.cycle(30)
    assert answer(client)["done"] is True
    assert doors.bench.coil


@pytest.mark.parametrize(("takes_s", "hangs_up"), [(7.0, False), (7.0, True), (1.0, True)])
def test_nothing_closes_after_a_slow_arming_that_nobody_stood_by(
    doors: Doors, takes_s: float, hangs_up: bool
) -> None:
    asker = doors.say("close")
    doors.next_write_takes(takes_s, asker.close if hangs_up else nothing)
    doors.cycle(30)
    assert not doors.is_told_to_close
    assert doors.bench.loop.guard.circuit is Circuit.OPEN
    assert not doors.bench.loop.keeper.is_armed
    if not hangs_up:
        reply = answer(asker)
        assert reply["done"] is False
        assert "asked 7." in reply["message"]
        assert "ask again" in reply["message"]


@pytest.mark.parametrize(("takes_s", "hangs_up"), [(10.0, False), (10.0, True), (1.0, True)])
def test_nothing_closes_that_was_asked_while_a_slow_reset_was_written(
    doors: Doors, takes_s: float, hangs_up: bool
) -> None:
    loop = doors.bench.loop
    loop.keeper.lock(Lockout("external", "a test", "look", ""))
    loop.guard.circuit = Circuit.LOCKED_OUT
    doors.cycle(30)

    def asks() -> None:
        asker = doors.say("close")
        if hangs_up:
            asker.close()

    doors.bench.mailbox.put("reset", "looked at it")
    doors.next_write_takes(takes_s, asks)
    doors.cycle(30)
    assert loop.guard.circuit is Circuit.OPEN
    assert not doors.is_told_to_close
    if not hangs_up:
        assert "ago" in answer(doors.asking[-1])["message"]


@pytest.mark.parametrize("before", [0, 2, 7, 12])
def test_a_close_that_was_sent_before_an_open_does_not_close_after_it(
    doors: Doors, before: int
) -> None:
    """The loop is away for 1.5 s, and so many others ask before: up to the kernel's queue."""

    def ask_in_order() -> None:
        for _ in range(before):
            doors.say("status")
        doors.say("close")
        doors.bench.clock.sleep_until(doors.bench.clock.now_s() + 0.1)
        doors.let_them_look()
        doors.say("open", OPEN_SOCKET_NAME)

    doors.next_write_takes(1.5, ask_in_order)
    doors.bench.loop.keeper.keep("a test")
    doors.cycle(30)
    *_, closes, opens = doors.asking
    assert answer(opens)["done"] is True
    assert not doors.is_told_to_close
    assert answer(closes)["message"] == "not closed: opened meanwhile"


@pytest.mark.parametrize("floods", [0, 5])
@pytest.mark.parametrize("apart", [False, True])
def test_an_open_that_is_sent_behind_a_close_is_heard_before_the_coil_goes_on(
    doors: Doors, apart: bool, floods: int
) -> None:
    """On one connection: in one piece, or while the latch is armed for it."""
    close, open_ = (json.dumps({"act": act}).encode() + b"\n" for act in ("close", "open"))
    for _ in range(floods):
        doors.say("status").sendall(b'{"act": "status"}\n' * 100)
    asks = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    asks.settimeout(10)
    asks.connect(str(doors.run_dir / SOCKET_NAME))
    doors.asking.append(asks)
    asks.sendall(close if apart else close + open_)
    doors.let_them_look()
    doors.next_write_takes(0.0, lambda: asks.sendall(open_) if apart else None)
    doors.cycle(30)
    assert not doors.is_told_to_close
    answers = asks.makefile("rb")
    said = [json.loads(answers.readline()) for _ in range(2)]
    assert sorted(reply["message"] for reply in said)[0] == "not closed: opened meanwhile"
    assert [reply["done"] for reply in said].count(True) == 1


@pytest.mark.parametrize("name", [SOCKET_NAME, OPEN_SOCKET_NAME])
@pytest.mark.parametrize("before", [0, 3])
def test_an_open_that_came_while_it_was_armed_is_heard_before_the_coil_goes_on(
    doors: Doors, name: str, before: int
) -> None:
    def wants_to_open() -> None:
        for _ in range(before):
            doors.say("status")
        doors.say("open", name)

    closes = doors.say("close")
    doors.next_write_takes(0.0, wants_to_open)  # no reading grows old: the next cycle may close
    doors.cycle(30)
    assert not doors.is_told_to_close
    assert answer(closes)["message"] == "not closed: opened meanwhile"


@pytest.mark.parametrize("acts", [("open", "close"), ("close", "open")])
def test_of_an_open_and_a_close_at_once_the_open_is_heard(
    doors: Doors, acts: tuple[str, str]
) -> None:
    for act in acts:
        doors.bench.mailbox.put(act)
    doors.cycle(30)
    assert not doors.is_told_to_close


def test_an_open_forbids_nothing_that_is_asked_after_it(doors: Doors) -> None:
    done = []
    for act, name in (("open", OPEN_SOCKET_NAME), ("close", SOCKET_NAME)):
        client = doors.say(act, name)
        doors.cycle(10)
        done.append(answer(client)["done"])
    assert done == [True, True]
    assert doors.bench.coil


def test_between_two_pulses_an_open_is_heard_before_the_next_begins(
    doors: Doors, monkeypatch: pytest.MonkeyPatch
) -> None:
    loop, seen = doors.bench.loop, []

    def guided(decision: Decision, _readings: object) -> None:
        seen.append((loop.guard.circuit, loop.guard.resume(decision)))

    loop.guard.circuit = Circuit.PAUSED
    monkeypatch.setattr(loop, "_be_guided", guided)
    monkeypatch.setattr(loop.guard._between_pulses, "why_no_more", lambda *_: "")
    doors.bench.mailbox.put("open")
    loop.cycle()
    assert seen == [(Circuit.OPEN, False)]
    assert not doors.is_told_to_close


# --- a thread that fails


def fails_once(monkeypatch: pytest.MonkeyPatch, where: object, name: str, error: Exception) -> None:
    real, errors = getattr(where, name), [error]

    def once(*given: Any) -> Any:
        if errors:
            raise errors.pop()
        return real(*given)

    monkeypatch.setattr(where, name, once)


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize(
    ("what", "error"),
    [
        ("_selector.register", OSError(28, "No space left on device")),
        ("_selector.select", MemoryError()),
        ("_clock.now_s", MemoryError()),
        ("rest", ValueError("a test")),
        ("_accept", KeyError(7)),
        ("_drop", OSError(12, "Cannot allocate memory")),
    ],
)
def test_whatever_fails_in_a_thread_the_next_who_opens_is_heard(
    doors: Doors, monkeypatch: pytest.MonkeyPatch, which: int, what: str, error: Exception
) -> None:
    inbox = doors.inboxes[which]
    assert isinstance(inbox, Aside)
    where: Any = inbox._served
    *path, name = what.split(".")
    for part in path:
        where = getattr(where, part)
    if path == ["_clock"]:  # of its own: the loop has the same
        inbox._served._clock = where = type("Clock", (), {"now_s": lambda _: where_s()})()  # type: ignore[attr-defined]
    where_s = doors.bench.clock.now_s
    fails_once(monkeypatch, where, name, error)
    socket_name = (SOCKET_NAME, OPEN_SOCKET_NAME)[which]
    for _ in range(2):  # the first may be dropped
        client = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        client.connect(str(doors.run_dir / socket_name))
        client.sendall(b'{"act": "open"}\n')
        doors.let_them_look()
        client.close()
    doors.cycle(5)
    heard: list[bool] = []
    asks = threading.Thread(
        target=lambda: heard.append(ask(doors.run_dir, "open", socket_name=socket_name).done)
    )
    asks.start()
    while asks.is_alive():
        doors.bench.loop.cycle()
    assert heard == [True]
    assert inbox.is_served


class Fails:
    """What is served fails wherever it can, and then recovers."""

    def __init__(self, fails: int) -> None:
        self.fails, self.ended = fails, threading.Event()

    def _maybe(self) -> None:
        if self.fails:
            self.fails -= 1
            raise RuntimeError("a test")

    def rest(self, _at_most_s: float) -> None:
        self._maybe()

    def take(self, _most: int, _most_urgent: int) -> list[str]:
        self._maybe()
        return ["heard"]

    def start_again(self) -> None:
        self._maybe()

    def close(self) -> None:
        self.ended.set()


def test_a_start_that_fails_is_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("supervisor.control.aside.AGAIN_AFTER_S", 0.001)
    served = Fails(5)
    aside = Aside("a test", served, 1, 1)
    heard: list[str] = []
    while aside.is_served and not heard:
        heard = aside.take()
    aside.close()
    assert heard == ["heard"]
    assert served.ended.wait(10)


def ends(aside: Aside[Any], monkeypatch: pytest.MonkeyPatch) -> None:
    ended_by: list[type[BaseException]] = []
    monkeypatch.setattr(threading, "excepthook", lambda end: ended_by.append(end.exc_type))
    monkeypatch.setattr(aside._served, "rest", lambda _at_most_s: sys.exit())
    aside._thread.join(10)
    assert ended_by == [SystemExit]


def hangs(aside: Aside[Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """In a call that comes back as late as a stranger likes."""
    is_there = threading.Event()

    def comes_back_at_the_end(_at_most_s: float) -> None:
        is_there.set()
        aside._ends.wait()

    monkeypatch.setattr(aside._served, "rest", comes_back_at_the_end)
    assert is_there.wait(10)


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize("happens_to", [ends, hangs])
def test_without_one_of_the_threads_nothing_closes_and_all_the_rest_goes_on(
    doors: Doors,
    monkeypatch: pytest.MonkeyPatch,
    which: int,
    happens_to: Callable[[Aside[Any], pytest.MonkeyPatch], None],
) -> None:
    out, lives = doors.inboxes[which], doors.inboxes[1 - which]
    assert isinstance(out, Aside)
    happens_to(out, monkeypatch)
    clock = doors.bench.clock
    out._beat_at_s, out._now_s = clock.now_s(), clock.now_s
    doors.bench.run(clock.now_s() + HANGS_AFTER_S + 0.5)
    assert not out.is_served
    doors.bench.mailbox.put("close")
    doors.bench.run(clock.now_s() + 1.5)
    assert doors.told().count("deaf") == 1
    assert not doors.is_told_to_close
    assert "not heard" in doors.bench.mailbox.replies[-1].message
    assert isinstance(lives, Aside)
    client = doors.say("open", (SOCKET_NAME, OPEN_SOCKET_NAME)[1 - which])
    doors.cycle(5)
    assert answer(client)["done"] is True
    if not out._thread.is_alive():
        out._served.close()


@pytest.mark.parametrize("which", [0, 1])
def test_a_thread_that_hangs_while_closed_is_told_and_so_is_its_going_on(
    doors: Doors, which: int
) -> None:
    """Closed it stays: rules and stop button go on. Then it closes again as before."""
    clock, out = doors.bench.clock, doors.inboxes[which]
    doors.bench.mailbox.put("close")
    doors.bench.run(clock.now_s() + 2.0)
    assert doors.is_told_to_close
    real, doors.inboxes[which] = out, Served(is_served=False)
    doors.wire()
    doors.bench.run(clock.now_s() + 0.5)
    assert doors.told().count("deaf") == 1
    assert doors.is_told_to_close
    doors.inboxes[which] = real
    doors.wire()
    doors.bench.run(clock.now_s() + 0.5)
    assert doors.told().count("heard") == 1
    doors.bench.mailbox.put("open")
    doors.bench.run(clock.now_s() + 2.0)
    doors.bench.mailbox.put("close")
    doors.bench.run(clock.now_s() + 2.0)
    assert doors.is_told_to_close


class Served(Mailbox):
    """An inbox that nobody has asked at, heard or not."""

    def __init__(self, *, is_served: bool) -> None:
        super().__init__()
        self.is_served = is_served
