"""One channel against a reference: old and new, history, and nothing written when dry."""

import json
import shlex
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from build_samples import step_done
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from supervisor.cli.calibrate import days_since
from supervisor.cli.main import main
from supervisor.control.build_record import BuildRecord, Finding, StepDone
from supervisor.control.build_steps import BY_KEY
from supervisor.settings.model import SupervisorSettings

Run = Callable[..., Result]


@pytest.fixture
def run(hut_path: Path, tmp_path: Path) -> Run:
    def runs(*words: str, width: int = 80) -> Result:
        folders = ["--state-dir", str(tmp_path)]
        runner = CliRunner(env={"COLUMNS": str(width), "NO_COLOR": "1"})
        command = ["calibrate", "--config", str(hut_path), "--simulate", "--yes", *folders]
        return runner.invoke(main, [*command, *words])

    return runs


def one_line(text: str) -> str:
    return " ".join(text.split())


def test_a_cell_is_calibrated_as_found_and_as_left(run: Run, tmp_path: Path) -> None:
    result = run("--channel", "front_cell")
    assert result.exit_code == 0, result.stderr
    assert "gain: 1 -> " in result.stdout
    assert "gain_uncertainty_percent: none -> " in result.stdout
    told = one_line(result.stderr)
    assert "off the line" in told  # the residuals
    assert "(front_cell), 1 of 1" in told
    done = BuildRecord(tmp_path).read()
    assert [(one.step, one.passed) for one in done] == [
        ("front_cell", False),
        ("front_cell", True),
    ]


def test_steps_that_relied_on_the_old_values_are_told(
    run: Run, tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    step = BY_KEY["trip_overvoltage"]
    passed = StepDone(
        step.key, True, "2026-01-01T00:00:00+00:00", "x", "1", True, step.relied_on(hut_settings),
        (Finding("it trips", True),),
    )  # fmt: skip
    BuildRecord(tmp_path).add(passed)
    result = run("--channel", "front_cell")
    assert "relied on the old values: trip_overvoltage" in one_line(result.stderr)
    told = json.loads(run("--channel", "front_cell", "--json").stdout)
    assert told["void"] == ["trip_overvoltage"]
    assert told["channel"] == "front_cell"
    assert told["passed"]
    for key in ("drive", "auxiliary"):
        BuildRecord(tmp_path).add(step_done(hut_settings, key, simulated=True))
    again = next(line for line in result.stderr.splitlines() if "--step trip_overvoltage" in line)
    tried = CliRunner().invoke(main, [*shlex.split(again)[1:], "--yes"])
    assert tried.exit_code == 0, tried.stderr
    assert BuildRecord(tmp_path).read()[-1].step == "trip_overvoltage"


def test_a_simulation_says_that_it_writes_no_settings(run: Run, hut_path: Path) -> None:
    before = hut_path.read_bytes()
    told = one_line(run("--channel", "front_cell").stderr)
    assert f"SIMULATED: nothing is written into {hut_path}" in told
    assert "-0.00 m" not in told
    assert hut_path.read_bytes() == before


def test_dry_nothing_is_written(run: Run, tmp_path: Path, hut_path: Path) -> None:
    before = hut_path.read_bytes()
    result = run("--channel", "far_cell", "--dry-run")
    assert result.exit_code == 0, result.stderr
    assert "gain: 1 -> " in result.stdout
    assert "nothing is written" in result.stderr
    assert not BuildRecord(tmp_path).read()
    assert hut_path.read_bytes() == before


def test_the_shunt_begins_with_its_zero(
    run: Run, tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    for key in ("drive", "auxiliary"):  # no current before the contact is known
        BuildRecord(tmp_path).add(step_done(hut_settings, key, simulated=True))
    told = one_line(run("--channel", "shunt").stderr)
    assert told.index("(zero), 1 of 2") < told.index("(current), 2 of 2")


def test_the_reference_and_its_accuracy_go_on_record(run: Run, tmp_path: Path) -> None:
    assert run("--channel", "front_cell").exit_code == 0
    found, left = BuildRecord(tmp_path).read()
    reference = "reference meter: 0.05 % of the reading + 3 counts, one count 0.0001 V, as stated"
    assert found.notes[0] == left.notes[0] == reference


def test_the_history_with_age(run: Run, tmp_path: Path) -> None:
    assert (
        "no calibration of front_cell is on record"
        in run("--channel", "front_cell", "--history").stderr
    )
    run("--channel", "front_cell")
    before = BuildRecord(tmp_path).path.read_bytes()
    shown = run("--channel", "front_cell", "--history", width=40)
    assert shown.exit_code == 0
    assert max(map(len, shown.stdout.splitlines())) <= 40
    told = one_line(shown.stdout)
    assert "days ago), by simulated hands: written; gain 1; offset 0; error_at_2.5" in told
    entries = json.loads(run("--channel", "front_cell", "--history", "--json").stdout)
    assert [one["passed"] for one in entries] == [False, True]
    assert entries[0]["as_left"]["gain"] == pytest.approx(1.0, abs=0.01)
    assert isinstance(entries[0]["age_days"], int)
    assert BuildRecord(tmp_path).path.read_bytes() == before


def test_what_is_real_and_what_is_simulated_are_two_histories(run: Run, hut_path: Path) -> None:
    run("--channel", "front_cell")
    real = CliRunner().invoke(
        main,
        ["calibrate", "--config", str(hut_path), "--channel", "front_cell", "--history",
         "--state-dir", str(hut_path.parent)],
    )  # fmt: skip
    assert real.exit_code == 0
    assert not real.stdout


def test_odd_ways_to_call_it(run: Run) -> None:
    assert run().exit_code == 2
    assert run("--channel", "rear_cell").exit_code == 2
    result = run("--channel", "current")  # as its step is called
    assert result.exit_code == 2
    assert "--channel shunt" in one_line(result.stderr)


def test_a_channel_that_the_build_lacks(hut_path: Path, tmp_path: Path) -> None:
    text = hut_path.read_text("utf-8")
    start, end = text.index("\n  far_cell:"), text.index("\n  # Charging current")
    config = tmp_path / "bank.yaml"
    config.write_text(text[:start] + text[end:], "utf-8")
    words = ["calibrate", "--config", str(config), "--simulate", "--yes", "--channel", "far_cell"]
    result = CliRunner().invoke(main, words)
    assert result.exit_code in (2, 78)
    assert "far_cell" in result.stderr


@given(st.one_of(st.text(max_size=40), st.datetimes().map(lambda when: when.isoformat())))
def test_a_time_of_any_kind_has_an_age_or_none(wall: str) -> None:
    assert days_since(wall, datetime(2026, 1, 1, tzinfo=UTC)) is None or "+" in wall or "Z" in wall


def test_an_age_in_days() -> None:
    now = datetime(2026, 3, 1, 12, tzinfo=UTC)
    assert days_since("2026-02-01T12:00:00+00:00", now) == 28
    assert days_since("2026-02-01T13:00:00+00:00", now) == 27
