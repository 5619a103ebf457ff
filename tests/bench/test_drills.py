"""Every scenario file passes; a broken rule is found; the outputs are as documented."""

import json
from pathlib import Path
from xml.etree import ElementTree as Xml

import pytest
from click.testing import CliRunner
from long_tests import LONG

from supervisor.bench.drill import drill
from supervisor.cli.main import main

SCENARIOS = sorted((Path(__file__).parents[2] / "config" / "scenarios").glob("*.yaml"))
QUICK = next(path for path in SCENARIOS if path.stem == "stop-button")
KEYS = {
    "scenario", "passed", "outcome", "tripped_by", "trips", "trip_at_s", "finished_at_s",
    "response_s", "peak_cell_v", "never_above_v", "failures",
}  # fmt: skip


def edited(path: Path, folder: Path, *changes: tuple[str, str]) -> Path:
    """A copy of a scenario with other words in it, its settings still found."""
    text = path.read_text("utf-8")
    for old, new in (("../hut-bank.yaml", str(path.parents[1] / "hut-bank.yaml")), *changes):
        assert old in text
        text = text.replace(old, new)
    copy = folder / path.name
    copy.write_text(text, "utf-8")
    return copy


def marked(path: Path) -> object:
    marks = [pytest.mark.long] if path.stem in LONG else []
    return pytest.param(path, id=path.stem, marks=marks)


@pytest.mark.parametrize("path", [marked(path) for path in SCENARIOS])
def test_scenario(path: Path) -> None:
    result = drill(path)
    assert result.passed, result.failures


def test_the_same_seed_gives_the_same_run_to_the_bit() -> None:
    assert drill(QUICK) == drill(QUICK)


def test_a_wrong_expectation_fails_with_what_came_instead(tmp_path: Path) -> None:
    path = edited(QUICK, tmp_path, ("tripped_by: external, within", "tripped_by: stale, within"))
    result = drill(path)
    assert not result.passed
    assert "tripped by external, expected stale" in result.failures


def test_json_and_exit_code(tmp_path: Path) -> None:
    good = CliRunner().invoke(main, ["drill", str(QUICK), "--json"])
    assert good.exit_code == 0
    (result,) = json.loads(good.stdout)
    assert set(result) == KEYS
    assert result["passed"] is True
    bad = edited(QUICK, tmp_path, ("outcome: tripped", "outcome: closed"))
    assert CliRunner().invoke(main, ["drill", str(bad)]).exit_code == 1


def test_junit(tmp_path: Path) -> None:
    bad = edited(QUICK, tmp_path, ("outcome: tripped", "outcome: closed"))
    report = tmp_path / "junit.xml"
    CliRunner().invoke(main, ["drill", str(QUICK), str(bad), "--junit", str(report)])
    suite = Xml.parse(report).getroot()
    assert (suite.get("tests"), suite.get("failures")) == ("2", "1")
    assert [case.find("failure") is not None for case in suite] == [False, True]


def test_a_limit_too_high_is_refused_by_drill_and_check(tmp_path: Path) -> None:
    """0.2 V too high, as somebody might try to get rid of a trip."""
    overvoltage = next(path for path in SCENARIOS if path.stem == "overvoltage")
    loose = "overrides: {protection.overvoltage.trip_volts: 3.80, "
    path = edited(overvoltage, tmp_path, ("overrides: {", loose))
    result = CliRunner().invoke(main, ["drill", str(path)])
    assert result.exit_code == 78
    assert "protection.overvoltage.trip_volts" in result.stderr
    settings = tmp_path / "loose.yaml"
    example = (SCENARIOS[0].parents[1] / "hut-bank.yaml").read_text("utf-8")
    settings.write_text(example.replace("trip_volts: 3.60", "trip_volts: 3.80"), "utf-8")
    assert CliRunner().invoke(main, ["check", str(settings)]).exit_code == 78


@pytest.mark.parametrize(
    ("old", "new", "path", "words"),
    [
        ("expect: {outcome: tripped", "expect: {outcome: exploded", "expect.outcome", "exploded"),
        ("kind: stop_button", "kind: stop_buton", "timeline[2].fault", "stop_buton"),
        ("close: true", "close: maybe", "timeline[0].close", "maybe"),
        ("seconds: 60", "seconds: -1", "seconds", "-1"),
        ("plant: {cells:", "plant: {cels:", "plant.cels", "cells"),
    ],
)
def test_a_scenario_at_fault_is_told_with_its_place(
    tmp_path: Path, old: str, new: str, path: str, words: str
) -> None:
    result = CliRunner().invoke(main, ["drill", str(edited(QUICK, tmp_path, (old, new)))])
    assert result.exit_code == 78
    assert path in result.stderr
    assert words in result.stderr
    assert "Traceback" not in result.output


def test_a_fault_that_the_rig_has_no_part_for_fails_the_scenario(tmp_path: Path) -> None:
    fault = ("kind: stop_button}", "kind: chip_reset, converter: nowhere}")
    result = drill(edited(QUICK, tmp_path, fault))
    assert not result.passed
    assert any("nowhere" in failure for failure in result.failures)


def test_a_file_at_fault_is_among_the_results(tmp_path: Path) -> None:
    bad = tmp_path / "bad.yaml"
    bad.write_text("name: Nothing else", "utf-8")
    junit = tmp_path / "junit.xml"
    came = CliRunner().invoke(main, ["drill", "--json", "--junit", str(junit), str(bad)])
    assert came.exit_code == 78
    (result,) = json.loads(came.stdout)
    assert (result["scenario"], result["passed"]) == (str(bad), False)
    assert result["failures"]
    assert 'failures="1"' in junit.read_text("utf-8")


def test_without_a_file_it_says_what_to_give() -> None:
    came = CliRunner().invoke(main, ["drill"])
    assert came.exit_code == 2
    assert "config/scenarios" in came.stderr
