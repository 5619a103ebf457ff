"""What the commands print: old data told as old first of all, and the one circuit found."""

import json
import socket
import time
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from supervisor.cli import common
from supervisor.cli.main import main
from supervisor.control.publisher import StatusFile
from supervisor.snapshot import Counters, Snapshot

SNAPSHOT = Snapshot(
    bank="Hut", version="0", simulated=False, circuit="closed", coil_on=True,
    auxiliary_closed=True, lease_left_s=0.2, now_s=1.0, published_at_s=0.0,
    wall="2026-01-01T00:00:00+00:00", started_wall="2026-01-01T00:00:00+00:00",
    never_above_v=3.65, channels=(), rules=(), lockout=None, not_closing_because=(),
    uncommissioned=None, events=(), counters=Counters(),
)  # fmt: skip


def status(folder: Path, age_s: float, *options: str) -> tuple[int, list[str]]:
    StatusFile(folder).publish(replace(SNAPSHOT, published_at_s=time.monotonic() - age_s))
    result = CliRunner().invoke(main, ["status", "--run-dir", str(folder), *options])
    return result.exit_code, result.stdout.splitlines()


def test_fresh_data_are_shown_as_they_are(tmp_path: Path) -> None:
    code, shown = status(tmp_path, 0.1)
    assert (code, shown[0]) == (0, "Hut: closed")


def test_old_data_are_told_as_old_before_anything_else(tmp_path: Path) -> None:
    """On stdout, where a script or a tired person looks."""
    code, shown = status(tmp_path, 60.0)
    assert code == 75
    assert shown[0] == "NO FRESH DATA, 60 s old; the last word was:"


def test_json_says_so_as_well(tmp_path: Path) -> None:
    code, shown = status(tmp_path, 60.0, "--json")
    told = json.loads("\n".join(shown))
    assert (code, told["fresh"]) == (75, False)
    assert told["problem"]


def test_no_data_at_all(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["status", "--run-dir", str(tmp_path)])
    assert result.exit_code == 75
    assert result.stdout == "NO FRESH DATA\n"


@pytest.fixture
def circuits(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(common, "RUN_DIR", tmp_path)
    return tmp_path


def listening(folder: Path) -> socket.socket:
    folder.mkdir()
    daemon = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    daemon.bind(str(folder / "requests.sock"))
    return daemon


def test_the_only_circuit_is_found_below_the_run_folder(circuits: Path) -> None:
    with listening(circuits / "hut-bank"):
        assert common.find_circuit(circuits) == circuits / "hut-bank"


def test_of_several_circuits_none_is_guessed(circuits: Path) -> None:
    with listening(circuits / "one"), listening(circuits / "two"):
        result = CliRunner().invoke(main, ["open", "--run-dir", str(circuits)])
    assert result.exit_code == 2
    assert "one" in result.stderr
    assert "two" in result.stderr
