"""The documents say what the code says."""

from pathlib import Path

import yaml
from click.testing import CliRunner

from supervisor.bench.scenario import load_scenario
from supervisor.cli.main import COMMANDS, main
from supervisor.control.circuit import drawing
from supervisor.protection.charge_stage import drawing as stages_drawing
from supervisor.settings.protection import RULE_KEYS

ROOT = Path(__file__).parents[1]
SCENARIOS = ROOT / "config" / "scenarios"


def test_the_states_in_the_contributors_guide_are_the_table_of_the_code() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    shown = guide.split("tests/test_documents.py -->\n")[1].split("<!-- end of states")[0]
    assert shown.strip() == drawing()


def test_the_stages_in_the_contributors_guide_are_the_table_of_the_code() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    shown = guide.split("<!-- stages:")[1].split("-->", 1)[1].split("<!-- end of stages")[0]
    assert shown.strip() == stages_drawing()


def test_the_readme_names_every_command_and_rule() -> None:
    readme = (ROOT / "README.md").read_text("utf-8")
    for command in COMMANDS:
        assert f"`holdwatch {command}" in readme, command
    for rule in RULE_KEYS:
        assert f"`{rule}`" in readme, rule


def test_the_readmes_two_lines_set_up_everything_themselves() -> None:
    readme = (ROOT / "README.md").read_text("utf-8")
    lines = [line for line in readme.splitlines() if line.startswith("python3 -m venv")]
    assert len(lines) == 2
    assert lines[0].endswith("holdwatch demo")
    assert "pytest" in lines[1]


def test_every_command_has_a_help_page() -> None:
    for command in COMMANDS:
        result = CliRunner().invoke(main, [command, "--help"])
        assert result.exit_code == 0, result.output
        assert "Usage: " in result.output


def test_every_rule_has_a_scenario_that_trips_it() -> None:
    tripped = {load_scenario(path)[0].expect.tripped_by for path in SCENARIOS.glob("*.yaml")}
    assert set(RULE_KEYS) <= tripped


def test_the_units_are_ini_files_that_start_what_exists() -> None:
    for unit in (ROOT / "systemd").glob("*.service"):
        starts = [li for li in unit.read_text("utf-8").splitlines() if li.startswith("ExecStart=")]
        assert len(starts) == 1
        assert starts[0].split("/bin/holdwatch ")[1].split()[0] in COMMANDS


def test_scenario_names_are_unique() -> None:
    names = [yaml.safe_load(path.read_text("utf-8"))["name"] for path in SCENARIOS.glob("*.yaml")]
    assert len(names) == len(set(names))
