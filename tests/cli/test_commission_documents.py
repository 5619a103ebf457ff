"""What help and hardware/commissioning.md say of answers, deeds and defects is what there is."""

import textwrap
from pathlib import Path
from typing import get_args

import pytest
from click.shell_completion import ShellComplete
from click.testing import CliRunner

from supervisor.bench.commissioning.defects import DEFECTS
from supervisor.bench.scenario import load_scenario
from supervisor.cli.commission import command
from supervisor.cli.main import main
from supervisor.cli.person_by_answers import DEEDS, questions
from supervisor.commissioning.deeds import Output
from supervisor.control.build_record import BuildRecord
from supervisor.control.build_steps import STEPS
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.model import SupervisorSettings

PAGE = (Path(__file__).parents[2] / "hardware" / "commissioning.md").read_text("utf-8")


def rows(heading: str) -> list[str]:
    """The first cells of the table that follows these words, each between backquotes."""
    lines = PAGE.split(heading, 1)[1].split("|---", 1)[1].splitlines()[1:]
    table = [line for line in lines[: lines.index("")] if line.startswith("|")]
    cells = [line.split("|")[1] for line in table]
    return [name for cell in cells for name in cell.split("`")[1::2]]


def test_the_page_names_every_deed() -> None:
    assert rows("### Deeds") == list(DEEDS)


def test_the_page_names_every_answer(hut_settings: SupervisorSettings) -> None:
    named = rows("### Answers")
    channels = [f"meter_{channel.value}" for channel in fitted_channels(hut_settings)]
    assert named == [*channels, "meter_NAME", *(f"saw_{output}" for output in get_args(Output))]
    assert set(questions(hut_settings)) <= set(named)


def test_the_page_names_every_defect_and_where_it_is_found() -> None:
    assert rows("### Defects") == list(DEFECTS)
    for name, defect in DEFECTS.items():
        assert f"| `{name}` | {defect.about} | {defect.found_at} |" in PAGE


@pytest.mark.parametrize("typed", ["", "au", "zz"])
def test_the_shell_completes_every_defect(typed: str) -> None:
    asked = ShellComplete(main, {}, "holdwatch", "_HOLDWATCH_COMPLETE")
    offered = asked.get_completions(["commission", "--simulate", "--defect"], typed)
    assert [item.value for item in offered] == [one for one in DEFECTS if one.startswith(typed)]


@pytest.mark.parametrize(
    "keys", [("front_cell",), ("panel",), ("front_cell", "panel"), ("panel", "front_cell")]
)
def test_the_example_of_the_help_works_as_it_is_written(
    hut_path: Path, tmp_path: Path, keys: tuple[str, ...]
) -> None:
    help_page = CliRunner().invoke(command, ["--help"]).output
    shown = help_page.split("answer holds always.\n", 1)[1].split("\n\n", 1)[0]
    answers = tmp_path / "answers.yaml"
    answers.write_text(textwrap.dedent(shown), "utf-8")
    words = ["--config", str(hut_path), "--simulate", "--answers", str(answers)]
    words += ["--state-dir", str(tmp_path)]
    words += [word for key in keys for word in ("--step", key)]
    result = CliRunner().invoke(main, ["commission", *words])
    assert result.exit_code == 0, result.stderr
    assert {done.step for done in BuildRecord(tmp_path).read() if done.passed} == set(keys)


def test_the_pages_scenario_runs_on_the_copy_as_it_was_tried(
    hut_path: Path, tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    (tmp_path / "hut.yaml").write_bytes(hut_path.read_bytes())
    scenario = tmp_path / "scenario.yaml"
    scenario.write_text(PAGE.split("```yaml\n", 1)[1].split("```", 1)[0], "utf-8")
    _, settings = load_scenario(scenario)
    assert all(one.relied_on(settings) == one.relied_on(hut_settings) for one in STEPS)
