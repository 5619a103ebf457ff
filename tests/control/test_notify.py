"""Word to systemd: delivered when it listens, dropped when it does not, never blocking."""

import socket
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
