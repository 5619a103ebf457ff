"""A profile with a shunt or limits of its own is commissioned as what it is: another job."""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
import yaml
from build_samples import all_done, step_done
from click.testing import CliRunner, Result

from supervisor.cli.commission_file import SettingsFile
from supervisor.cli.main import main
from supervisor.control.build_record import BuildRecord, why_not
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import with_profile

Run = Callable[..., Result]
NOW = datetime(2026, 11, 2, 8, 0, tzinfo=UTC)
OF_THE_SHUNT = {"zero", "current", "leads", "trip_overcurrent", "trip_reverse_current", "response"}


@pytest.fixture
def config(hut_path: Path, tmp_path: Path) -> Path:
    path = tmp_path / "bank.yaml"
    path.write_bytes(hut_path.read_bytes())
    return path


@pytest.fixture
def run(config: Path, tmp_path: Path) -> Run:
    def runs(command: str, *words: str) -> Result:
        folder = ["--state-dir", str(tmp_path / "state")]
        given = [command, "--config", str(config), "--simulate", *folder, *words]
        return CliRunner(env={"COLUMNS": "80", "NO_COLOR": "1"}).invoke(main, given)

    return runs


@pytest.fixture
def after_the_contact(hut_settings: SupervisorSettings, tmp_path: Path) -> BuildRecord:
    """Before it is known, no current is sent and no trip point is tried."""
    (tmp_path / "state").mkdir()
    record = BuildRecord(tmp_path / "state")
    for key in ("drive", "auxiliary"):
        record.add(step_done(hut_settings, key, simulated=True))
    return record


def open_keys(settings: SupervisorSettings, lines: object) -> set[str]:
    reasons = why_not(settings, lines, simulated=False)  # type: ignore[arg-type]
    return {reason.split("--step ")[1].split()[0].rstrip(")") for reason in reasons}


def test_the_final_hold_wants_what_its_shunt_and_limits_touch_and_says_how(
    hut_settings: SupervisorSettings,
) -> None:
    hold = with_profile(hut_settings, "final_hold")
    reasons = list(why_not(hold, all_done(hut_settings), simulated=False))
    assert open_keys(hold, all_done(hut_settings)) == OF_THE_SHUNT
    assert all("--profile final_hold)" in reason for reason in reasons)


def test_the_files_own_is_told_without_a_profile(hut_settings: SupervisorSettings) -> None:
    assert "--profile" not in str(list(why_not(hut_settings, [], simulated=False)))
    lines = all_done(hut_settings)[1:]
    assert "--profile" not in str(list(why_not(hut_settings, lines, simulated=False)))


@pytest.mark.parametrize("first", ["bank", "final_hold"])
def test_each_stands_beside_the_other(hut_settings: SupervisorSettings, first: str) -> None:
    """Whichever was tried last: trips done for one void no response of the other."""
    own = all_done(hut_settings)
    hold = with_profile(hut_settings, "final_hold")
    of_hold = [step_done(hold, key) for key in ("trip_overvoltage", *sorted(OF_THE_SHUNT))]
    of_hold.append(step_done(hold, "response"))
    lines = [*own, *of_hold] if first == "bank" else [*of_hold, *own, step_done(hold, "response")]
    assert open_keys(hold, lines) == set()
    own_lines = [*lines, step_done(hut_settings, "response")]
    assert open_keys(hut_settings, own_lines) == set()


def test_a_trip_of_a_profile_with_limits_of_its_own_voids_nothing_of_the_file(
    hut_settings: SupervisorSettings,
) -> None:
    data = hut_settings.model_dump(mode="json")
    data["profiles"]["final_hold"]["overrides"]["protection.overvoltage.trip_volts"] = 3.58
    settings = SupervisorSettings.model_validate_json(json.dumps(data))
    hold = with_profile(settings, "final_hold")
    lines = [*all_done(settings), step_done(hold, "trip_overvoltage")]
    assert open_keys(settings, lines) == set()


def test_its_calibration_is_written_into_it(config: Path) -> None:
    before = SettingsFile(config).settings
    file = SettingsFile(config, "final_hold")
    assert file.write({"channels.shunt.gain": 1.0125, "channels.front_cell.gain": 1.002}, NOW)
    assert file.settings.channels.shunt.gain == 1.0125
    whole = SettingsFile(config).settings
    assert whole.channels.shunt == before.channels.shunt
    assert whole.channels.front_cell.gain == 1.002
    written = yaml.safe_load(config.read_text("utf-8"))["profiles"]["final_hold"]["overrides"]
    assert written["channels.shunt.gain"] == 1.0125


def test_one_without_a_shunt_of_its_own_is_calibrated_with_the_file(config: Path) -> None:
    file = SettingsFile(config, "practice_group")
    assert file.write({"channels.shunt.gain": 1.0125}, NOW)
    assert SettingsFile(config).settings.channels.shunt.gain == 1.0125
    assert file.settings.channels.shunt.gain == 1.0125


@pytest.mark.parametrize("command", [("commission", "--list"), ("calibrate", "--channel", "shunt")])
def test_an_unknown_profile_is_refused_with_those_there_are(run: Run, command: list[str]) -> None:
    result = run(*command, "--yes", "--profile", "last_hours")
    assert result.exit_code == 2
    told = " ".join(result.stderr.split())
    assert "no profile 'last_hours'" in told
    assert "practice_group, final_hold" in told


def test_its_steps_are_done_with_its_values(run: Run, after_the_contact: BuildRecord) -> None:
    words = ("--yes", "--profile", "final_hold", "--step", "zero", "--step", "trip_overcurrent")
    result = run("commission", *words)
    assert result.exit_code == 0, result.output
    *_, zero, trip = after_the_contact.read()
    assert zero.relied_on["channels.shunt"]["rated_amperes"] == 20
    assert trip.relied_on["protection.overcurrent"]["trip_amperes"] == 12
    (measured,) = [f.measured for f in trip.findings if f.unit == "A"]
    assert measured == pytest.approx(12, rel=0.02)


@pytest.mark.usefixtures("after_the_contact")
def test_its_shunt_is_calibrated_in_a_simulation(run: Run) -> None:
    assert run("calibrate", "--yes", "--channel", "shunt", "--profile", "final_hold").exit_code == 0


def test_what_a_profile_sets_otherwise_is_no_change(hut_settings: SupervisorSettings) -> None:
    hold = with_profile(hut_settings, "final_hold")
    told = " ".join(why_not(hold, all_done(hut_settings), simulated=False))
    assert "the step zero was done with channels.shunt." in told
    assert "for this profile it is" in told
    assert " now" not in told
    contactor = hut_settings.contactor.model_copy(update={"release_milliseconds": 31.0})
    slower = with_profile(hut_settings.model_copy(update={"contactor": contactor}), "final_hold")
    told = " ".join(why_not(slower, all_done(hut_settings), simulated=False))
    assert "contactor.release_milliseconds 30.0, it is 31.0 now" in told
