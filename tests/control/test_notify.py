"""Word to systemd: delivered when it listens, dropped when it does not, never blocking."""

import socket
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from supervisor.control.notify import Notifier


def test_messages_arrive(tmp_path: Path) -> None:
    path = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as systemd:
        systemd.bind(path)
        notifier = Notifier(path)
        notifier.ready()
        notifier.alive()
        notifier.stopping()
        assert [systemd.recv(64) for _ in range(3)] == [b"READY=1", b"WATCHDOG=1", b"STOPPING=1"]
        notifier.close()


def test_silent_without_systemd(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    Notifier().alive()


def test_a_full_or_absent_listener_never_blocks(tmp_path: Path) -> None:
    path = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as deaf:
        deaf.bind(path)
        notifier = Notifier(path)
        for _ in range(10_000):
            notifier.alive()
    notifier.alive()
    notifier.close()


STRICT = b"WATCHDOG=1\nWATCHDOG_USEC=2000000"
PLAIN = b"WATCHDOG=1"


class Told:
    """A notifier with a watchdog of 2 s, on a clock that stands still unless told."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("WATCHDOG_USEC", "2000000")
        self.path = str(folder / "notify")
        self.now_s = 0.0
        self.systemd = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.systemd.bind(self.path)
        self.systemd.setblocking(False)
        self.notifier = Notifier(self.path, lambda: self.now_s)

    def write(self, takes_s: float) -> None:
        self.notifier.writing()
        self.now_s += takes_s
        self.notifier.written()

    def close(self) -> None:
        self.systemd.close()
        self.notifier.close()


@pytest.fixture
def told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Told]:
    told = Told(tmp_path, monkeypatch)
    yield told
    told.close()


def test_what_the_disk_takes_is_borne_with_and_nothing_else(told: Told) -> None:
    """WATCHDOG_USEC counts from when it is told, so it is what is left of two seconds of the loop's
    own. No write feeds."""
    told.write(5.0)
    told.now_s += 1.0
    told.write(0.25)
    told.now_s += 1.5
    told.write(0.25)
    assert heard(told.systemd) == [
        b"WATCHDOG_USEC=32000000", b"WATCHDOG_USEC=2000000",
        b"WATCHDOG_USEC=31000000", b"WATCHDOG_USEC=1000000",
        b"WATCHDOG_USEC=29500000", b"WATCHDOG_USEC=1",
    ]  # fmt: skip
    told.notifier.alive()
    told.notifier.alive()
    told.now_s += 0.5
    told.write(1.0)
    assert heard(told.systemd) == [
        STRICT, PLAIN, b"WATCHDOG_USEC=31500000", b"WATCHDOG_USEC=1500000",
    ]  # fmt: skip


def test_it_begins_to_count_when_it_is_ready(told: Told) -> None:
    """Whatever the start took."""
    told.now_s += 60.0
    told.notifier.ready()
    told.now_s += 0.5
    told.write(1.0)
    assert heard(told.systemd) == [
        b"READY=1", b"WATCHDOG_USEC=31500000", b"WATCHDOG_USEC=1500000",
    ]  # fmt: skip


@pytest.mark.parametrize("lost", range(4))
def test_the_units_patience_is_told_until_it_is_delivered_and_fed_with_no_other(
    told: Told, lost: int
) -> None:
    """``lost`` words find the queue full: ``written`` and so many of ``alive`` less one."""
    words = iter([told.notifier.written, *[told.notifier.alive] * 5])
    told.notifier.writing()
    assert heard(told.systemd) == [b"WATCHDOG_USEC=32000000"]
    flood(told.path)
    for _ in range(lost):
        next(words)()
    assert {*heard(told.systemd)} == {b"STATUS=flood"}
    for word in words:
        word()
    after = [word for word in heard(told.systemd) if word != b"WATCHDOG_USEC=2000000"]
    assert after == [STRICT] + [PLAIN] * (len(after) - 1)
    assert len(after) == 5 - max(0, lost - 1)


@pytest.mark.parametrize("patience", [None, "", "soon", "0", "-1"])
def test_where_no_watchdog_waits_none_is_asked_for_patience(
    told: Told, monkeypatch: pytest.MonkeyPatch, patience: str | None
) -> None:
    monkeypatch.delenv("WATCHDOG_USEC")
    if patience is not None:
        monkeypatch.setenv("WATCHDOG_USEC", patience)
    told.notifier.close()
    told.notifier = Notifier(told.path)
    told.write(5.0)
    told.notifier.alive()
    assert heard(told.systemd) == [PLAIN]


def flood(path: str) -> None:
    """Until no more goes into the queue."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as anybody:
        anybody.setblocking(False)
        with suppress(BlockingIOError):
            while True:
                anybody.sendto(b"STATUS=flood", path)


def heard(systemd: socket.socket) -> list[bytes]:
    words = []
    with suppress(BlockingIOError):
        while True:
            words.append(systemd.recv(64))
    return words
