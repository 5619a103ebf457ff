"""Word to systemd: delivered when it listens, dropped when it does not, never blocking."""

import socket
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


@pytest.mark.parametrize("lost", range(4))
def test_the_units_patience_is_told_until_it_is_delivered_and_fed_with_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lost: int
) -> None:
    """``lost`` words find the queue full: ``written`` and so many of ``alive`` less one."""
    monkeypatch.setenv("WATCHDOG_USEC", "2000000")
    path = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as systemd:
        systemd.bind(path)
        systemd.setblocking(False)
        notifier = Notifier(path)
        words = iter([notifier.written, *[notifier.alive] * 5])
        notifier.writing()
        assert heard(systemd) == [b"WATCHDOG_USEC=30000000"]
        flood(path)
        for _ in range(lost):
            next(words)()
        assert {*heard(systemd)} == {b"STATUS=flood"}
        for word in words:
            word()
        after = heard(systemd)
        assert after == [STRICT] + [b"WATCHDOG=1"] * (len(after) - 1)
        assert len(after) == 6 - lost
        notifier.close()


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
