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
from supervisor.cli.status import lines
from supervisor.control.publisher import StatusFile
from supervisor.snapshot import (
    ChannelView,
    Counters,
    JournalView,
    LockoutView,
    Moment,
    ProbeView,
    RuleView,
    Snapshot,
    WithoutView,
)

SNAPSHOT = Snapshot(
    bank="Hut", version="0", simulated=False, circuit="closed", coil_on=True,
    auxiliary_closed=True, lease_left_s=0.2, now_s=1.0, published_at_s=0.0,
    wall="2026-01-01T00:00:00+00:00", started_wall="2026-01-01T00:00:00+00:00",
    never_above_v=3.65, channels=(), probes=(), rules=(), without=(), lockout=None,
    not_closing_because=(), uncommissioned=None, events=(), counters=Counters(),
    profile="bank", operations=7, rated_operations=None, guidance=None, silent_s=0.0,
    journal=JournalView(),
)  # fmt: skip
CHANNELS = (
    ChannelView("front_cell", 3.4567, "V", "good", 0.008, 0.1, None, None),
    ChannelView("far_cell", 3.4, "V", "good", 0.008, 0.1, None, None),
    ChannelView("shunt", -0.01, "A", "good", 0.6, 0.1, None, None),
)
RULE = RuleView(
    rule="supply_thermal", function="49", state="timing", measured=92.3, limit=100.0, unit="%",
    for_s=60.0, left_s=779.0, reason="rectifier at 92.3 %", guard_band=None, response_s=None,
    highest_v=None,
)  # fmt: skip
LOCKOUT = LockoutView(
    tripped_by="overvoltage", reason="front cell too high", remedy="turn the knob down",
    measured=3.61, limit=3.6, unit="V", wall="2026-01-01T00:00:00+00:00", opened_in_s=0.034,
    failed_to_open=False, stored=True, before=(),
)  # fmt: skip


def status(folder: Path, age_s: float, *options: str) -> tuple[int, list[str]]:
    StatusFile(folder).publish(replace(SNAPSHOT, published_at_s=time.monotonic() - age_s))
    result = CliRunner().invoke(main, ["status", "--run-dir", str(folder), *options])
    return result.exit_code, result.stdout.splitlines()


def test_fresh_data_are_shown_as_they_are(tmp_path: Path) -> None:
    code, shown = status(tmp_path, 0.1)
    assert (code, shown[0]) == (0, "Hut, profile bank: closed")


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


def test_json_is_the_whole_snapshot(tmp_path: Path) -> None:
    StatusFile(tmp_path).publish(replace(SNAPSHOT, published_at_s=time.monotonic(), rules=(RULE,)))
    result = CliRunner().invoke(main, ["status", "--run-dir", str(tmp_path), "--json"])
    told = json.loads(result.stdout)
    assert set(told) - {"age_s", "fresh", "problem"} == set(SNAPSHOT.as_dict())
    assert told["rules"][0]["left_s"] == 779.0


def test_readings_with_units_and_without_a_negative_zero() -> None:
    probes = (
        ProbeView("rectifier", "heat_sink", 61.42, "good", 1.0),
        ProbeView("yard", "cells", -0.04, "good", 60.0),
        ProbeView("core", "transformer", None, "no answer", 1.0),
        ProbeView("late", "transformer", 40.0, "good", 60.1),
    )
    assert lines(replace(SNAPSHOT, channels=CHANNELS, probes=probes))[1:] == [
        "  front cell     3.457 V  (+-0.008)",
        "  far cell       3.400 V  (+-0.008)",
        "  current          0.0 A  (+-0.6)",
        "  heat sink      61.4 °C  (rectifier)",
        "  cells           0.0 °C  (yard)",
        "  transformer  cannot tell: no answer  (core)",
        "  transformer  cannot tell: old reading  (late)",
    ]


@pytest.mark.parametrize(
    ("state", "left_s", "told"),
    [
        ("timing", 7200.0, "2 h"),
        ("timing", 7199.9, "119 min"),
        ("timing", 1800.0, "30 min"),
        ("timing", 120.0, "2 min"),
        ("timing", 119.9, "119 s"),
        ("timing", 1.0, "1 s"),
        ("timing", 0.9, "less than 1 s"),
        ("timing", None, None),
        ("clear", 1799.9, "29 min"),
        ("clear", 1800.0, None),
        ("trip", 10.0, None),
    ],
)
def test_a_warning_comes_first_with_the_time_left_rounded_down(
    state: str, left_s: float | None, told: str | None
) -> None:
    rule = replace(RULE, state=state, left_s=left_s)
    shown = lines(replace(SNAPSHOT, channels=CHANNELS, rules=(rule,)))
    warnings = [line for line in shown if line.startswith("WARNING")]
    expected = f"WARNING: supply_thermal trips in {told} if nothing changes"
    assert warnings == ([] if told is None else [expected])
    assert told is None or shown[1] == expected


def test_rules_that_are_off_are_told_with_the_reason() -> None:
    off = (WithoutView("temperature", "no probes on hand"),)
    assert lines(replace(SNAPSHOT, without=off))[-1] == "  temperature: OFF, no probes on hand"


def test_a_trip_is_told_with_a_handful_of_what_was_before_it() -> None:
    times_s = [float(s) for s in range(60, 3, -1)] + [s / 10 for s in range(30, -1, -1)]
    before = tuple(Moment(s, 3.6 - s / 1000, None if s < 2 else 3.5, 118.4) for s in times_s)
    locked = replace(SNAPSHOT, channels=CHANNELS, lockout=replace(LOCKOUT, before=before))
    shown = lines(locked)
    table = shown[shown.index("  before the trip:") + 1 :]
    assert table == [
        "        front cell   far cell    current",
        "   60 s    3.540 V    3.500 V    118.4 A",
        "   30 s    3.570 V    3.500 V    118.4 A",
        "   10 s    3.590 V    3.500 V    118.4 A",
        "  3.0 s    3.597 V    3.500 V    118.4 A",
        "  1.0 s    3.599 V no reading    118.4 A",
        "  0.0 s    3.600 V no reading    118.4 A",
    ]
    assert max(map(len, table)) <= 40


def test_a_short_story_repeats_no_moment_and_shows_no_cell_that_is_not_wired() -> None:
    before = (Moment(0.4, 3.61, None, 20.0), Moment(0.1, 3.62, None, 21.0))
    wired = (CHANNELS[0], CHANNELS[2])
    shown = lines(replace(SNAPSHOT, channels=wired, lockout=replace(LOCKOUT, before=before)))
    assert shown[-3:] == [
        "        front cell    current",
        "  0.4 s    3.610 V     20.0 A",
        "  0.1 s    3.620 V     21.0 A",
    ]


def test_a_trip_of_which_nothing_is_known_has_no_empty_table() -> None:
    assert "before the trip" not in "\n".join(lines(replace(SNAPSHOT, lockout=LOCKOUT)))


def test_a_lockout_by_no_rule_says_what_it_was() -> None:
    """As after a kill, or by the stop button."""
    reason = "the last run ended without a word while the circuit was closed"
    locked = replace(LOCKOUT, tripped_by="external", reason=reason)
    shown = "\n".join(lines(replace(SNAPSHOT, lockout=locked)))
    assert (
        f"  tripped by stop button, power cut or kill at 2026-01-01 00:00:00 UTC: {reason}" in shown
    )
    assert "external" not in shown


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


def test_no_reading_is_known_to_nothing() -> None:
    """A small shunt is known to hundredths of an ampere."""
    shunt = replace(CHANNELS[2], value=1.3, uncertainty=0.0123)
    assert lines(replace(SNAPSHOT, channels=(shunt,)))[1] == "  current          1.3 A  (+-0.012)"
