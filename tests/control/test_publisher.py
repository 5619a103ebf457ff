"""The status file: whole or not there, and never a reason to stop."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from supervisor.control.publisher import StatusFile
from supervisor.snapshot import Counters, JournalView, Snapshot, from_dict

SNAPSHOT = Snapshot(
    bank="Hut", version="0", simulated=True, circuit="open", coil_on=False, auxiliary_closed=None,
    lease_left_s=0.0, now_s=1.0, published_at_s=2.0, wall="2026-01-01T00:00:00+00:00",
    started_wall="2026-01-01T00:00:00+00:00", never_above_v=3.65, channels=(), probes=(),
    profile="bank", operations=0, rated_operations=None, guidance=None, silent_s=0.0,
    journal=JournalView(),
    rules=(), without=(), lockout=None, not_closing_because=(), uncommissioned=None, events=(),
    counters=Counters(),
)  # fmt: skip


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    StatusFile(tmp_path).publish(SNAPSHOT)
    assert from_dict(json.loads((tmp_path / "status.json").read_text("utf-8"))) == SNAPSHOT


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_a_number_that_is_none_is_never_published(
    tmp_path: Path, bad: float, caplog: pytest.LogCaptureFixture
) -> None:
    status = StatusFile(tmp_path)
    status.publish(SNAPSHOT)
    status.publish(replace(SNAPSHOT, now_s=bad))
    assert from_dict(json.loads((tmp_path / "status.json").read_text("utf-8"))) == SNAPSHOT
    assert "cannot be written" in caplog.text


def test_a_folder_that_is_gone_is_logged_once_and_found_again(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    folder = tmp_path / "run"
    status = StatusFile(folder)
    status.publish(SNAPSHOT)
    status.publish(SNAPSHOT)
    assert len(caplog.records) == 1
    folder.mkdir()
    status.publish(SNAPSHOT)
    assert (folder / "status.json").exists()


def test_removed_after_a_clean_end(tmp_path: Path) -> None:
    status = StatusFile(tmp_path)
    status.publish(SNAPSHOT)
    status.remove()
    status.remove()
    assert not (tmp_path / "status.json").exists()
