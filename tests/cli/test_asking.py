"""Whom the commands ask: who wants to open has two doors, and one of them may be held up."""

import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from supervisor.cli import asking
from supervisor.cli.main import main
from supervisor.control.requests import SOCKET_NAME, Reply, open_socket
from supervisor.simulator.clock import SimulatedClock


@pytest.fixture
def held_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A daemon whose first socket takes connections and never answers; the other one does."""
    monkeypatch.setattr(asking, "FIRST_PATIENCE_S", 0.2, raising=False)
    silent = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    silent.bind(str(tmp_path / SOCKET_NAME))
    silent.listen()
    served, ends = open_socket(tmp_path, SimulatedClock()), threading.Event()

    def serve() -> None:
        while not ends.is_set():
            for request in served.take():
                request.answer(Reply(True, f"{request.act}: {request.reason}", "open"))

    daemon = threading.Thread(target=serve)
    daemon.start()
    yield tmp_path
    ends.set()
    daemon.join()
    served.close()
    silent.close()


def test_who_opens_and_gets_no_answer_is_heard_at_the_other_door(held_up: Path) -> None:
    result = CliRunner().invoke(main, ["open", "--run-dir", str(held_up), "--reason", "smoke"])
    assert result.exit_code == 0, result.output
    assert "open: smoke" in result.output


def test_who_opens_and_finds_a_door_that_nobody_keeps_is_heard_at_the_other(held_up: Path) -> None:
    (held_up / SOCKET_NAME).unlink()
    left = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    left.bind(str(held_up / SOCKET_NAME))
    left.close()  # connection refused
    result = CliRunner().invoke(main, ["open", "--run-dir", str(held_up)])
    assert result.exit_code == 0, result.output


def test_nothing_but_open_goes_to_the_other_door(
    held_up: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(asking, "PATIENCE_S", 0.2)
    result = CliRunner().invoke(main, ["close", "--run-dir", str(held_up)])
    assert result.exit_code == 75
    assert f"no answer from the daemon at {held_up / SOCKET_NAME}" in result.output
