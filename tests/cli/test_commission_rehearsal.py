"""A walk in a simulation leads to closing: what it found stands in a copy, and is told as such."""

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from build_samples import all_done
from click.testing import CliRunner, Result

from supervisor.cli.commission_file import SettingsFile
from supervisor.cli.commission_text import states
from supervisor.cli.main import main
from supervisor.control.build_record import BuildRecord, counting, standing
from supervisor.control.build_steps import BY_KEY
from supervisor.control.instance import claim
from supervisor.settings.model import SupervisorSettings

Run = Callable[..., Result]
CALIBRATED = ("zero", "front_cell", "far_cell", "current")


@pytest.fixture
def run(hut_path: Path, tmp_path: Path) -> Run:
    def runs(*words: str, width: int = 80) -> Result:
        runner = CliRunner(env={"COLUMNS": str(width), "NO_COLOR": "1"})
        given = ["commission", "--config", str(hut_path), "--simulate", "--yes"]
        return runner.invoke(main, [*given, "--state-dir", str(tmp_path / "state"), *words])

    return runs


def one_line(text: str) -> str:
    return " ".join(text.split())


def steps(*keys: str) -> list[str]:
    return [word for key in keys for word in ("--step", key)]


@pytest.mark.parametrize("profile", [None, "final_hold"])
def test_with_the_copy_everything_stands_as_it_was_tried(
    run: Run, tmp_path: Path, hut_path: Path, profile: str | None
) -> None:
    """With the file itself the daemon would refuse to close: it is another build's."""
    copy, before = tmp_path / "calibrated.yaml", hut_path.read_bytes()
    of_profile = ["--profile", profile] if profile else []
    result = run(
        *steps("drive", "auxiliary", *CALIBRATED, "zero"), *of_profile, "--calibrated", str(copy)
    )
    assert result.exit_code == 0, result.stderr
    lines = counting(BuildRecord(tmp_path / "state").lines(), simulated=True)
    settings = SettingsFile(copy, profile).settings
    assert [standing(BY_KEY[key], settings, lines).why for key in CALIBRATED] == [""] * 4
    untouched = SettingsFile(hut_path, profile).settings
    assert all(standing(BY_KEY[key], untouched, lines).why for key in ("front_cell", "far_cell"))
    assert hut_path.read_bytes() == before
    assert str(copy) in "".join(result.stderr.split("\n  "))


def test_a_walk_that_goes_on_writes_what_was_found_before(run: Run, tmp_path: Path) -> None:
    copy = tmp_path / "calibrated.yaml"
    assert run(*steps("front_cell")).exit_code == 0
    assert run(*steps("panel"), "--calibrated", str(copy)).exit_code == 0
    found = SettingsFile(copy).settings.channels.front_cell
    assert found.gain_uncertainty_percent is not None


def test_without_a_copy_the_values_are_told(run: Run, hut_path: Path) -> None:
    told = one_line(run(*steps("front_cell")).stderr)
    assert f"SIMULATED: nothing is written into {hut_path}" in told
    assert "channels.front_cell.gain: 1.000" in told
    assert "--calibrated FILE" in told
    assert "channels.far_cell" not in told.split("nothing is written")[1]


def test_where_nothing_was_calibrated_there_is_nothing_to_copy(run: Run, tmp_path: Path) -> None:
    copy = tmp_path / "calibrated.yaml"
    assert "nothing is written" not in run(*steps("panel")).stderr
    result = run(*steps("panel"), "--calibrated", str(copy))
    assert result.exit_code == 0
    assert copy.exists()  # as the file is: it fits as well


@pytest.mark.parametrize("is_there", [True, False])
def test_no_file_is_overwritten_and_no_real_build_has_a_copy(
    run: Run, tmp_path: Path, hut_path: Path, is_there: bool
) -> None:
    copy = tmp_path / "calibrated.yaml"
    if is_there:
        copy.write_text("what somebody needs", "utf-8")
        result = run(*steps("panel"), "--calibrated", str(copy))
        assert copy.read_text("utf-8") == "what somebody needs"
    else:
        words = ["--config", str(hut_path), "--calibrated", str(copy)]
        result = CliRunner().invoke(main, ["commission", *words])
        assert not copy.exists()
    assert result.exit_code == 2
    assert ("is there already" if is_there else "--simulate") in one_line(result.stderr)
    assert not (tmp_path / "state").exists()


def test_a_copy_of_nothing_that_was_tried_is_refused(run: Run, tmp_path: Path) -> None:
    for words in (["--list"], steps("panel")):
        result = run(*words, "--calibrated", str(tmp_path / "nowhere" / "copy.yaml"))
        assert result.exit_code == 2
    result = run("--list", "--calibrated", str(tmp_path / "copy.yaml"))
    assert result.exit_code == 2
    assert not (tmp_path / "copy.yaml").exists()


def test_the_certificate_of_a_simulation_says_that_nothing_was_written(
    run: Run, tmp_path: Path
) -> None:
    page = tmp_path / "page.html"
    assert run(*steps("front_cell"), "--certificate", str(page)).exit_code == 0
    text = page.read_text("utf-8")
    assert "Written into the settings" not in text
    assert "A real walk would have written" in text
    assert "into which a simulation writes nothing" in text


# --- a certificate at any time


def test_the_list_writes_the_certificate_of_what_is_on_record(run: Run, tmp_path: Path) -> None:
    assert run(*steps("panel")).exit_code == 0
    before = BuildRecord(tmp_path / "state").path.read_bytes()
    page = tmp_path / "page.html"
    plain = one_line(run("--list").stdout)
    result = run("--list", "--certificate", str(page), "--json")
    assert result.exit_code == 0, result.stderr
    assert [one["step"] for one in json.loads(result.stdout)] == list(BY_KEY)  # still the list
    told = json.loads(page.with_suffix(".json").read_text("utf-8"))
    assert told["made"][:10] == BuildRecord(tmp_path / "state").read()[-1].wall[:10]
    assert {one["step"] for one in told["steps"] if one["state"] == "passed"} == {"panel"}
    assert "Buzzer and lamp" in page.read_text("utf-8")
    assert one_line(run("--list", "--certificate", str(page)).stdout) == plain
    assert BuildRecord(tmp_path / "state").path.read_bytes() == before


def test_it_is_written_of_a_real_build_without_its_hardware_and_beside_its_daemon(
    hut_path: Path, tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    record, page = BuildRecord(tmp_path), tmp_path / "page.html"
    for done in all_done(hut_settings):
        record.add(done)
    words = ["--list", "--certificate", str(page), "--state-dir", str(tmp_path)]
    at_work = claim(tmp_path)
    try:
        result = CliRunner().invoke(main, ["commission", "--config", str(hut_path), *words])
    finally:
        os.close(at_work)
    assert result.exit_code == 0, result.stderr
    told = json.loads(page.with_suffix(".json").read_text("utf-8"))
    assert told["commissioned"]
    assert not told["simulated"]


# --- the list and the last words


def test_what_is_not_needed_says_why(run: Run) -> None:
    listed = one_line(run("--list").stdout)
    assert "phone: not needed: the page listens to this machine only" in listed
    assert "alert: not needed: its settings are a file of their own" in listed
    assert "probes: not needed: this build has no probes" in listed


def test_what_is_not_needed_without_an_auxiliary_contact(
    hut_settings: SupervisorSettings,
) -> None:
    contactor = hut_settings.contactor.model_copy(update={"auxiliary": None})
    settings = hut_settings.model_copy(update={"contactor": contactor})
    why = {one["step"]: one["why"] for one in states(settings, [])}
    for step in ("auxiliary", "release"):
        assert "no contactor.auxiliary" in why[step]
    assert all(why.values())


def test_the_last_words_part_failed_from_never_done(run: Run) -> None:
    result = run("--defect", "active-low", *steps("drive", "panel"))
    last = one_line(result.stderr).split("not commissioned yet")[1]
    # drive was tried as held by a level, which the settings in force of this walk are
    assert "failed: drive" in last
    done = last.split("not done yet: ")[1]
    assert done.startswith("parts, ")
    assert "panel" not in last
    assert "drive" not in done


def test_a_step_whose_settings_changed_keeps_who_tried_it(run: Run, tmp_path: Path) -> None:
    assert run("--defect", "active-low", *steps("drive"), "--by", "Ida").exit_code == 1
    (drive,) = [one for one in json.loads(run("--list", "--json").stdout) if one["step"] == "drive"]
    assert drive["state"] == "open"
    assert drive["by"] == "Ida"
    assert drive["at"] == BuildRecord(tmp_path / "state").read()[-1].wall
    last = one_line(run(*steps("panel")).stderr).split("not commissioned yet")[1]
    assert "to be done again: drive;" in last
