"""The settings file during a walk: it holds, or nothing more goes on record; and how it stands."""

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from build_samples import all_done, step_done
from click.testing import CliRunner, Result
from rich.console import Console

from supervisor.bench.commissioning.build import SimulatedBuild
from supervisor.bench.commissioning.hands import SimulatedHands
from supervisor.cli import commission_file
from supervisor.cli.commission_bench import Asked, CommissionBench, taken_over
from supervisor.cli.commission_file import SettingsFile
from supervisor.cli.main import main
from supervisor.commissioning.certificate import certificate
from supervisor.control.build_record import BuildRecord
from supervisor.control.build_steps import BY_KEY, STEPS, needed
from supervisor.settings.faults import Fault
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.sizing.fitness import Examined, load_fit

Run = Callable[..., Result]


@pytest.fixture
def config(hut_path: Path, tmp_path: Path) -> Path:
    path = tmp_path / "bank.yaml"
    path.write_bytes(hut_path.read_bytes())
    return path


@pytest.fixture
def simulated(config: Path, tmp_path: Path) -> Run:
    def runs(*words: str, typed: str = "") -> Result:
        runner = CliRunner(env={"COLUMNS": "80", "NO_COLOR": "1"})
        command = ["commission", "--config", str(config), "--simulate"]
        folder = ["--state-dir", str(tmp_path / "state")]
        return runner.invoke(main, [*command, *folder, *words], input=typed)

    return runs


def one_line(text: str) -> str:
    return " ".join(text.split())


def kept(folder: Path) -> list[tuple[str, bool]]:
    return [(done.step, done.passed) for done in BuildRecord(folder / "state").read()]


# --- the file changes, or cannot be written


@pytest.mark.parametrize("how", ["another value", "a remark", "gone"])
def test_a_file_that_changes_during_a_step_stops_it_before_that_is_recorded(
    simulated: Run, config: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    """Even a remark: the certificate names the file by its hash."""
    does = SimulatedHands.does

    def meanwhile(hands: SimulatedHands, deed: object) -> None:
        text = config.read_text("utf-8") if config.exists() else ""
        if how == "gone":
            config.unlink(missing_ok=True)
        elif how == "a remark":
            config.write_text(f"{text}\n# looked at\n", "utf-8")
        else:
            config.write_text(text.replace("release_milliseconds: 30", "release_milliseconds: 29"))
        does(hands, deed)  # type: ignore[arg-type]

    monkeypatch.setattr(SimulatedHands, "does", meanwhile)
    result = simulated("--yes", "--step", "drive", "--json")
    assert result.exit_code == 1
    told = one_line(result.stderr)
    assert "not gone on" in told
    assert "bank.yaml" in told
    assert "changed" in told
    assert "what to do" in told
    assert kept(tmp_path) == []
    assert isinstance(result.exception, SystemExit)


@pytest.fixture
def real(config: Path, tmp_path: Path) -> CommissionBench:
    """Parts that are simulated, in the place of real ones: what is found is written."""
    file = SettingsFile(config)
    build = SimulatedBuild(file.settings, PlantSettings(), tmp_path)
    build.simulated = False
    console = Console(stderr=True, highlight=False)
    record = BuildRecord(tmp_path)
    asked = Asked(config, yes=True)
    return CommissionBench(asked, file, build, SimulatedHands(build), record, console)


def test_a_calibration_is_written_and_the_old_file_is_kept(
    real: CommissionBench, capsys: pytest.CaptureFixture[str]
) -> None:
    config = real.asked.config
    before = config.read_bytes()
    assert real.go([BY_KEY["front_cell"]])
    settings = load_fit(config)
    assert settings == real.settings
    assert settings.channels.front_cell.gain_uncertainty_percent is not None
    (old,) = config.parent.glob("bank.yaml.before-*")
    assert old.read_bytes() == before
    assert str(old) in "".join(capsys.readouterr().err.split("\n  "))
    assert [(one.step, one.passed, one.simulated) for one in real.done] == [
        ("front_cell", False, False),
        ("front_cell", True, False),
    ]


def test_new_settings_that_would_not_pass_are_not_written(
    real: CommissionBench, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    config = real.asked.config
    before = config.read_bytes()
    fault = Fault("bank.yaml", 3, "protection", "A cell can reach 3.7 V.", "Too high.", "Lower it.")
    monkeypatch.setattr(
        commission_file, "examine_document", lambda _document: Examined(None, (fault,))
    )
    assert not real.go([BY_KEY["front_cell"]])
    told = one_line(capsys.readouterr().err)
    assert "the new settings would not pass, and are not written" in told
    assert "A cell can reach 3.7 V." in told
    assert config.read_bytes() == before
    assert not list(config.parent.glob("*.before-*"))


@pytest.mark.parametrize(
    "error", [OSError(28, "No space left on device"), PermissionError(13, "Permission denied")]
)
def test_a_file_that_cannot_be_written_is_told_in_words(
    real: CommissionBench,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    error: OSError,
) -> None:
    def full(*_: object) -> None:
        raise error

    monkeypatch.setattr(commission_file, "write_edited", full)
    before = real.file.path.read_bytes()
    assert not real.go([BY_KEY["front_cell"]])
    told = one_line(capsys.readouterr().err)
    assert f"bank.yaml: {error.strerror}" in told
    assert "what to do: look at that file and its disk" in told
    assert real.file.path.read_bytes() == before
    assert [done.step for done in real.done] == ["front_cell"]  # what was found is not lost


# --- again, after it was mended


def test_what_failed_is_offered_again_at_a_terminal(simulated: Run, tmp_path: Path) -> None:
    typed = "\n\nyes\n\nno\n"  # read it all; see it done; again; see it done; no more
    result = simulated("--defect", "active-low", "--step", "drive", typed=typed)
    assert result.exit_code == 1
    assert kept(tmp_path) == [("drive", False), ("drive", False)]
    assert one_line(result.stderr).count("Is it mended") == 2


def test_without_anybody_there_nothing_is_offered(simulated: Run, tmp_path: Path) -> None:
    result = simulated("--yes", "--defect", "active-low", "--step", "drive")
    assert result.exit_code == 1
    assert kept(tmp_path) == [("drive", False)]
    assert "Is it mended" not in result.stderr


# --- one judgement


@pytest.mark.parametrize("line", ['{"step": "kill", "passed": fal', "nonsense"])
def test_walk_list_and_certificate_judge_a_lost_line_as_the_daemon_does(
    simulated: Run, tmp_path: Path, hut_settings: SupervisorSettings, line: str
) -> None:
    (tmp_path / "state").mkdir()
    record = BuildRecord(tmp_path / "state")
    for done in all_done(hut_settings, simulated=True):
        record.add(done)
    assert record.why_not(hut_settings, simulated=True) == ()
    with record.path.open("a", encoding="utf-8") as file:
        file.write(line)
    minded = {
        step.key
        for step in STEPS
        if f"--step {step.key})" in " ".join(record.why_not(hut_settings, simulated=True))
    }
    assert minded == ({"kill"} if "kill" in line else {one.key for one in needed(hut_settings)})
    listed = json.loads(simulated("--list", "--json").stdout)
    assert {one["step"] for one in listed if one["state"] == "open"} == minded
    assert all("cannot be read" in one["why"] for one in listed if one["state"] == "open")
    told = certificate(
        hut_settings,
        record.lines(),
        settings_text=b"",
        simulated=True,
        now=datetime(2026, 12, 10, 10, tzinfo=UTC),
    )
    assert not told["commissioned"]
    states = {one["step"] for one in told["steps"] if one["state"] not in ("passed", "not needed")}
    assert states == minded
    if minded == {"kill"}:
        result = simulated("--yes", "--json")
        assert result.exit_code == 0, result.stderr
        assert json.loads(result.stdout)["commissioned"]
        assert kept(tmp_path)[-1] == ("kill", True)


def test_a_step_that_another_has_made_void_is_told_as_such(
    simulated: Run, tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    (tmp_path / "state").mkdir()
    record = BuildRecord(tmp_path / "state")
    for done in all_done(hut_settings, simulated=True):
        record.add(done)
    assert simulated("--yes", "--step", "auxiliary").exit_code == 0
    listed = one_line(simulated("--list").stdout)
    assert "kill: open: was done before the step auxiliary was done again" in listed


# --- the list


def test_a_calibration_that_was_adjusted_and_passed_is_not_told_as_failed(
    simulated: Run, tmp_path: Path, config: Path
) -> None:
    assert simulated("--yes", "--step", "front_cell").exit_code == 0
    assert kept(tmp_path) == [("front_cell", False), ("front_cell", True)]
    listed = one_line(simulated("--list").stdout)
    assert re.search(r"front_cell: passed: \d{4}", listed)
    assert "FAILED" not in listed
    assert "failed" not in listed
    settings = taken_over(load_fit(config), BuildRecord(tmp_path / "state").read())
    assert settings.channels.front_cell.gain_uncertainty_percent is not None


def test_calibrations_on_record_that_do_not_fit_are_not_taken_over(
    simulated: Run, tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    """Whatever stands in the record: it is no traceback."""
    (tmp_path / "state").mkdir()
    record = BuildRecord(tmp_path / "state")
    as_found = {"passed": False, "simulated": True, "as_left": {"gain": 99.0}}
    record.add(step_done(hut_settings, "front_cell", **as_found))
    for block in ({"gain": 99.0}, {}, None):
        odd = {"channels.front_cell": block}
        record.add(step_done(hut_settings, "front_cell", simulated=True, relied_on=odd))
        for words in (("--list",), ("--yes", "--step", "panel")):
            result = simulated(*words)
            assert result.exit_code == 0, result.exception
        record.add(step_done(hut_settings, "front_cell", **as_found))
