"""What is served in a thread of its own: bounded, watched, and never waited for."""

import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from request_bench import answer_all, line

from supervisor.control.aside import HANGS_AFTER_S, HANGS_AFTER_TAKES, Aside
from supervisor.control.requests import (
    MAX_CLIENTS,
    MAX_REQUESTS_PER_CYCLE,
    SOCKET_NAME,
    Request,
    request_sockets,
)
from supervisor.simulator.clock import SimulatedClock

MOST, MOST_IN_ALL = 2, 7


@pytest.fixture(autouse=True)
def _in_no_time(monkeypatch: pytest.MonkeyPatch) -> None:
    for pause in ("BEAT_S", "IDLE_S", "AGAIN_AFTER_S"):
        monkeypatch.setattr(f"supervisor.control.aside.{pause}", 0.001)


class Crowd:
    """As many as there is room for, each time; hangs in a call as long as it is told to."""

    def __init__(self) -> None:
        self.goes_on = {"rest": threading.Event(), "take": threading.Event()}
        self.hangs, self.ended = threading.Event(), threading.Event()
        self.looked = threading.Semaphore(0)
        self.let_go()

    def let_go(self) -> None:
        self.hangs.clear()
        for event in self.goes_on.values():
            event.set()

    def _may_hang(self, where: str) -> None:
        if not self.goes_on[where].is_set():
            self.hangs.set()
            assert self.goes_on[where].wait(60)

    def rest(self, _at_most_s: float) -> None:
        self._may_hang("rest")

    def take(self, most: int, most_urgent: int) -> list[str]:
        self.looked.release()
        self._may_hang("take")
        return ["open"] * most_urgent + ["status"] * most

    def start_again(self) -> None:
        raise AssertionError("nothing fails here")

    def close(self) -> None:
        self.ended.set()


class Served:
    """A crowd aside, on a clock that stands still unless told."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.crowd = Crowd()
        self.aside = Aside("a test", self.crowd, MOST, MOST_IN_ALL, lambda: self.now_s)

    def let_it_look(self, times: int = 3) -> None:
        """From now on."""
        while self.crowd.looked.acquire(blocking=False):
            pass
        for _ in range(times):
            assert self.crowd.looked.acquire(timeout=60)

    def hang(self, where: str) -> None:
        self.crowd.goes_on[where].clear()
        assert self.crowd.hangs.wait(60)

    def cycle(self, times: int) -> None:
        for _ in range(times):
            self.aside.take()


@pytest.fixture
def served() -> Iterator[Served]:
    served = Served()
    yield served
    served.crowd.let_go()
    served.aside.close()
    assert served.crowd.ended.wait(60)


@pytest.mark.parametrize("where", ["rest", "take"])
def test_a_thread_that_hangs_hears_nobody_until_it_goes_on(served: Served, where: str) -> None:
    served.hang(where)
    served.now_s += HANGS_AFTER_S
    served.cycle(HANGS_AFTER_TAKES + 1)
    assert served.aside.is_served
    served.now_s += 0.1
    assert not served.aside.is_served
    served.crowd.let_go()
    served.let_it_look()
    assert served.aside.is_served


def test_a_process_that_stood_still_as_a_whole_has_no_thread_that_hangs(served: Served) -> None:
    """Who goes on first finds all others old; they get some cycles to go on as well."""
    served.hang("take")
    served.now_s += 3600.0
    served.cycle(HANGS_AFTER_TAKES)
    assert served.aside.is_served
    served.crowd.let_go()
    served.let_it_look()
    served.cycle(1)
    assert served.aside.is_served


def test_a_loop_that_is_away_for_long_finds_its_thread_going_on(served: Served) -> None:
    for _ in range(5):
        served.now_s += 3600.0
        served.let_it_look()
        served.cycle(HANGS_AFTER_TAKES + 1)
        served.let_it_look()
        assert served.aside.is_served


def test_one_that_is_told_to_end_is_not_missed(served: Served) -> None:
    served.hang("take")
    served.now_s += 3600.0
    served.cycle(HANGS_AFTER_TAKES + 1)
    served.crowd.let_go()
    served.aside.close()
    assert served.aside.is_served


def test_a_crowd_that_wants_to_open_does_not_pile_up_while_the_loop_is_away(
    served: Served,
) -> None:
    for _ in range(5):
        served.let_it_look(20)
        assert len(served.aside.take()) <= MOST_IN_ALL


def test_the_others_get_their_places_whatever_crowd_wants_to_open(served: Served) -> None:
    served.let_it_look()
    assert "status" in served.aside.take()


def test_a_crowd_that_asks_is_dropped_and_comes_again_is_bounded_and_the_next_is_heard(
    tmp_path: Path,
) -> None:
    """Each asks to open, then says too much: all the loop gets of it is what waits for it."""
    inboxes = request_sockets(tmp_path, SimulatedClock())
    try:
        for _ in range(4 * MAX_CLIENTS):
            with asking(tmp_path) as crowd:
                crowd.sendall(line("open") + b"x" * 5000)
                assert crowd.recv(1) == b"", "dropped"
        with asking(tmp_path) as waits:
            waits.sendall(line("open", "smoke"))
            heard: list[Request] = []
            while not any(request.reason == "smoke" for request in heard):
                taken = inboxes[0].take()
                assert len(taken) <= MAX_CLIENTS + MAX_REQUESTS_PER_CYCLE
                answer_all(taken)
                heard += taken
            assert b'"done": true' in waits.recv(4096)
    finally:
        for inbox in inboxes:
            inbox.close()


def asking(folder: Path) -> socket.socket:
    client = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    client.settimeout(60)
    client.connect(str(folder / SOCKET_NAME))
    return client
