"""A build tried at the command line: told, kept, left and gone on with, in any terminal."""

import json
import os
import re
import signal
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from supervisor.bench.commissioning.defects import DEFECTS
from supervisor.cli import commission_builds
from supervisor.cli.commission_bench import Asked, overridden, taken_over
from supervisor.cli.commission_text import GENERAL_CAUTIONS
from supervisor.cli.main import main
from supervisor.commissioning.person import Unanswered
from supervisor.control.build_record import BuildRecord
from supervisor.control.build_steps import BY_KEY, needed
from supervisor.control.instance import claim
from supervisor.settings.model import SupervisorSettings

Run = Callable[..., Result]
ANSWERS = """
meters:
  volts: {accuracy: "0.05 % + 3", resolution: "0.1 mV"}
answers:
  meter_front_cell: [2.5, 3.3, 3.6, 2.5, 3.3, 3.6]
deeds: done
"""


@pytest.fixture
def run(hut_path: Path) -> Run:
    def runs(*words: str, typed: str | bytes = "", width: int = 80) -> Result:
        runner = CliRunner(env={"COLUMNS": str(width), "NO_COLOR": "1"})
        return runner.invoke(main, ["commission", "--config", str(hut_path), *words], input=typed)

    return runs


@pytest.fixture
def simulated(run: Run, tmp_path: Path) -> Run:
    """On the same simulated build's record again and again."""
    return lambda *words, **how: run("--simulate", "--state-dir", str(tmp_path), *words, **how)


def one_line(text: str) -> str:
    return " ".join(text.split())


def kept(folder: Path) -> list[tuple[str, bool]]:
    return [(done.step, done.passed) for done in BuildRecord(folder).read()]


def test_a_step_is_told_with_cautions_first_and_its_findings(simulated: Run) -> None:
    result = simulated("--yes", "--step", "drive")
    assert result.exit_code == 0
    assert not result.stdout
    told = one_line(result.stderr)
    order = [
        *(one_line(caution) for caution in GENERAL_CAUTIONS),
        "SIMULATED",
        "(drive), 1 of 1",
        "Take rings, watch and bracelet off",
        "Good: open, closed, open",
        "Feed the coil alone.",
        "the contact follows the coil's pin: good",
        "passed",
    ]
    places = [told.index(words.replace("! ", "")) for words in order]
    assert places == sorted(places)


def test_the_whole_walk_its_certificate_and_going_on(
    simulated: Run, tmp_path: Path, hut_path: Path
) -> None:
    before = hut_path.read_bytes()
    page = tmp_path / "certificate.html"
    result = simulated("--yes", "--certificate", str(page), "--by", "A. Warden", width=40)
    assert result.exit_code == 0, result.stderr
    told = json.loads(page.with_suffix(".json").read_text("utf-8"))
    assert told["commissioned"]
    assert told["simulated"]
    assert "A. Warden" in page.read_text("utf-8")
    assert sorted(path.name for path in tmp_path.glob("*certificate*")) == [
        "certificate.html",
        "certificate.json",
    ]
    assert hut_path.read_bytes() == before  # in a simulation new settings stay in memory
    too_long = [line for line in result.stderr.splitlines() if len(line) > 40 and " " in line]
    assert not [line for line in too_long if "the certificate:" not in line]
    again = simulated("--yes", "--json")
    assert again.exit_code == 0
    assert "(drive)" not in again.stderr  # nothing is open
    assert json.loads(again.stdout)["steps"] == told["steps"]


@pytest.mark.parametrize("name", ["active-low", "converter-absent"])
def test_a_planted_defect_is_named_with_its_remedy(
    simulated: Run, tmp_path: Path, name: str
) -> None:
    defect = DEFECTS[name]
    result = simulated("--yes", "--defect", name, "--step", defect.found_at)
    assert result.exit_code == 1
    told = one_line(result.stderr)
    assert f"defect: {defect.named}" in told
    assert "NOT GOOD" in told
    assert "what to do:" in told
    assert "FAILED" in told
    assert kept(tmp_path) == [(defect.found_at, False)]


def test_odd_ways_to_call_it(run: Run, tmp_path: Path) -> None:
    for words, said in (
        (["--defect", "active-low"], "give --simulate too"),
        (["--simulate", "--defect", "nope"], "active-low: a driver that acts on a low level"),
        (["--yes"], "give --answers FILE"),
        (["--simulate", "--state-dir", "/var/lib/holdwatch"], "not for playing"),
        (["--simulate", "--state-dir", "/var/lib/holdwatch/hut-bank"], "not for playing"),
        (["--step", "nothing"], "drive"),
        (["--simulate", "--certificate", str(tmp_path / "page.pdf")], "name an .html file"),
        (["--simulate", "--certificate", "/nonexistent/page.html"], "cannot write into"),
    ):
        result = run(*words)
        assert result.exit_code == 2, words
        assert said in one_line(result.stderr)
    assert not list(tmp_path.iterdir())


def test_settings_at_fault_end_it_before_anything_is_tried(tmp_path: Path) -> None:
    config = tmp_path / "bank.yaml"
    for text in (None, "bank: 3\n"):
        if text:
            config.write_text(text, "utf-8")
        for words in ((), ("--list",), ("--simulate", "--yes")):
            result = CliRunner().invoke(main, ["commission", "--config", str(config), *words])
            assert result.exit_code == 78
            assert "bank.yaml" in result.stderr


# --- leaving, and going on


@pytest.mark.parametrize("last", ["leave\n", "", "quit\n"])
def test_it_can_be_left_and_what_is_done_is_kept(simulated: Run, tmp_path: Path, last: str) -> None:
    words = ("--step", "drive", "--step", "auxiliary")
    result = simulated(*words, typed=f"\n\nwhat\n{last}" if last else "\n\n")
    assert result.exit_code == 1
    assert "left; what is done is kept" in one_line(result.stderr)
    assert kept(tmp_path) == [("drive", True)]
    listed = simulated("--list").stdout
    assert re.search(r"drive: passed", listed)
    assert re.search(r"auxiliary: open: not done yet", listed)
    assert simulated(*words, typed="\n\n\n").exit_code == 0
    assert kept(tmp_path)[-1] == ("auxiliary", True)


def test_left_at_once_nothing_is_done(simulated: Run, tmp_path: Path) -> None:
    result = simulated(typed="leave\n")
    assert result.exit_code == 1
    assert kept(tmp_path) == []


def test_bytes_that_are_no_text_are_no_traceback(simulated: Run) -> None:
    result = simulated("--step", "drive", typed=b"\xff\xfe\n")
    assert result.exit_code == 1
    assert isinstance(result.exception, SystemExit)


def test_calibrations_of_a_simulated_walk_are_taken_over(
    simulated: Run, tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    assert simulated("--yes", "--step", "front_cell").exit_code == 0
    done = BuildRecord(tmp_path).read()
    settings = taken_over(hut_settings, done)
    assert settings.channels.front_cell.gain_uncertainty_percent is not None
    assert done[-1].relied_on == BY_KEY["front_cell"].relied_on(settings)
    other = overridden(hut_settings, {"channels.front_cell.gain": 1.01})
    assert taken_over(other, done) == other  # another file, whose calibration this is not


# --- the list


def test_the_list_as_text_and_as_json(simulated: Run, hut_settings: SupervisorSettings) -> None:
    simulated("--yes", "--defect", "active-low", "--step", "drive")
    simulated("--yes", "--step", "panel")
    states = {one["step"]: one for one in json.loads(simulated("--list", "--json").stdout)}
    assert list(states) == list(BY_KEY)
    assert states["panel"]["state"] == "passed"
    assert states["panel"]["by"] == "simulated hands"
    assert states["probes"]["state"] == "not needed"
    open_steps = {key for key, one in states.items() if one["state"] == "open"}
    assert open_steps == {step.key for step in needed(hut_settings)} - {"panel"}
    # It was tried as a driver held by a level; the file says otherwise.
    assert "contactor.drive level, it is pulse now" in states["drive"]["why"]
    narrow = simulated("--list", width=40)
    assert narrow.exit_code == 0
    assert max(map(len, narrow.stdout.splitlines())) <= 40


def test_a_step_that_failed_says_why_in_the_list(simulated: Run) -> None:
    simulated("--yes", "--defect", "auxiliary-stuck", "--step", "auxiliary")
    listed = one_line(simulated("--list").stdout)
    assert re.search(r"auxiliary: open: failed \d{4}-\d\d-\d\d: \w+", listed)


def test_the_list_works_while_a_daemon_does(run: Run, tmp_path: Path) -> None:
    held = claim(tmp_path)
    try:
        result = run("--list", "--state-dir", str(tmp_path), "--run-dir", str(tmp_path))
    finally:
        os.close(held)
    assert result.exit_code == 0
    assert "parts: open: not done yet" in result.stdout


def test_lines_of_the_record_that_cannot_be_read_are_told(run: Run, tmp_path: Path) -> None:
    (tmp_path / "commissioning.jsonl").write_text("{}\nnonsense\n", "utf-8")
    result = run("--list", "--state-dir", str(tmp_path))
    assert result.exit_code == 0
    assert "2 lines" in result.stderr


# --- answers from a file


def test_a_step_by_answers(simulated: Run, tmp_path: Path) -> None:
    answers = tmp_path / "answers.yaml"
    answers.write_text(ANSWERS, "utf-8")
    result = simulated("--answers", str(answers), "--step", "front_cell", "--by", "A. Warden")
    assert result.exit_code == 0, result.stderr
    assert kept(tmp_path) == [("front_cell", False), ("front_cell", True)]  # as found, as left
    assert {done.by for done in BuildRecord(tmp_path).read()} == {"A. Warden"}


@pytest.mark.parametrize(
    ("odd", "said", "code"),
    [
        (ANSWERS.replace("3.6, 2.5, 3.3, 3.6]", "3.6, 2.5]"), "answers.meter_front_cell", 1),
        (ANSWERS.replace("3.6]", "3.6, 3.6]"), "1 more than were asked for", 1),
        (ANSWERS.replace("deeds: done", "deeds: [put_back]"), "add source to deeds", 1),
        (ANSWERS.replace("volts:", "millivolts:"), "meters.volts", 1),
        (ANSWERS.replace("meter_front_cell", "meter_front"), "meter_front_cell", 78),
        (ANSWERS.replace("deeds: done", "deed: done"), "deeds", 78),
    ],
)
def test_odd_answers_are_told_by_key(
    simulated: Run, tmp_path: Path, odd: str, said: str, code: int
) -> None:
    answers = tmp_path / "answers.yaml"
    answers.write_text(odd, "utf-8")
    simulated("--yes", "--step", "drive")
    result = simulated("--answers", str(answers), "--step", "front_cell")
    assert result.exit_code == code
    told = one_line(result.stderr)
    assert said in told
    assert "answers.yaml" in told
    assert kept(tmp_path)[0] == ("drive", True)


# --- a real build


def test_a_daemon_at_work_is_told_with_how_to_stop_it(run: Run, tmp_path: Path) -> None:
    run_dir, state_dir = tmp_path / "run", tmp_path / "state"
    for folder in (run_dir, state_dir):
        folder.mkdir(exist_ok=True)
        held = claim(folder)
        try:
            result = run("--run-dir", str(run_dir), "--state-dir", str(state_dir))
        finally:
            os.close(held)
        assert result.exit_code == 69
        assert "sudo systemctl stop holdwatch@hut-bank" in one_line(result.stderr)


def test_missing_hardware_is_told_and_the_locks_are_let_go(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("supervisor.devices.i2c.Path", lambda _name: tmp_path / "i2c-1")
    for _ in range(2):
        result = run("--run-dir", str(tmp_path / "run"), "--state-dir", str(tmp_path / "state"))
        assert result.exit_code == 69
        assert "i2c" in result.stderr
    assert not (tmp_path / "run" / "outputs.json").exists()


def test_the_folders_are_those_of_the_service(
    hut_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(commission_builds, "STATE_DIR", tmp_path)
    monkeypatch.setattr(commission_builds, "SETTINGS_DIR", tmp_path / "etc")
    record = commission_builds.record_of
    assert record(Asked(hut_path)).path.parent == tmp_path
    assert record(Asked(tmp_path / "etc" / "hut.yaml")).path.parent == tmp_path / "hut"
    (tmp_path / "hut-bank").mkdir()
    assert record(Asked(hut_path)).path.parent == tmp_path / "hut-bank"
    assert record(Asked(hut_path, state_dir=tmp_path / "own")).path.parent == tmp_path / "own"


def test_values_in_memory_are_checked_as_a_file_would_be(hut_settings: SupervisorSettings) -> None:
    gain = overridden(hut_settings, {"channels.front_cell.gain": 1.001}).channels.front_cell.gain
    assert gain == 1.001
    for path, value in (("protection.overvoltage.trip_volts", 3.7), ("bank.nothing", 1)):
        with pytest.raises(Unanswered, match="would not pass"):
            overridden(hut_settings, {path: value})


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_the_first_signal_unwinds_and_no_other_stops_that(number: int) -> None:
    before = {one: signal.getsignal(one) for one in (signal.SIGTERM, signal.SIGTSTP)}
    switched_off = []

    def ended() -> None:
        with commission_builds._ends_in_order():
            assert signal.getsignal(signal.SIGTSTP) is signal.SIG_IGN  # not stopped, coil on
            try:
                signal.raise_signal(number)
            finally:
                for other in (signal.SIGTERM, signal.SIGHUP, signal.SIGINT):
                    signal.raise_signal(other)
                switched_off.append("the coil")

    with pytest.raises(KeyboardInterrupt):
        ended()
    assert switched_off
    assert {one: signal.getsignal(one) for one in before} == before
