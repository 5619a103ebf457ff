"""``holdwatch check``: figures, refusals, JSON, narrow terminals."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from supervisor.cli.check import command
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import Overvoltage
from supervisor.sizing.explain import EXPLANATIONS
from supervisor.sizing.response import budgets


def run(*arguments: str | Path, columns: int = 100, **environment: str) -> Result:
    env = {"COLUMNS": str(columns), **environment}
    return CliRunner().invoke(command, [str(a) for a in arguments], env=env)


def answer(result: Result) -> dict[str, Any]:
    parsed: dict[str, Any] = json.loads(result.stdout)
    return parsed


@pytest.fixture
def too_high(tmp_path: Path, hut_path: Path) -> Path:
    """The example with its main limit 0.2 V too high."""
    file = tmp_path / "too-high.yaml"
    file.write_text(hut_path.read_text().replace("trip_volts: 3.60", "trip_volts: 3.80"))
    return file


def test_a_fit_file_shows_every_figure_and_exits_0(
    hut_path: Path, hut_settings: SupervisorSettings
) -> None:
    result = run(hut_path)
    assert result.exit_code == 0
    assert result.stderr.endswith("fit for use\n")
    assert hut_settings.bank.name in result.stdout
    for budget in budgets(hut_settings):
        row = next(s for s in result.stdout.splitlines() if s.startswith(f"{budget.title} "))
        assert f"{budget.limit:g} {budget.unit}" in row
        assert f"{budget.response_s:.3f} s" in row
        if budget.highest_v is not None:
            assert f"{budget.highest_v:.4f} V ok" in row


def test_a_limit_too_high_is_refused_and_says_what_to_write(too_high: Path) -> None:
    result = run(too_high)
    assert result.exit_code == 78
    line = next(n for n, text in enumerate(too_high.read_text().splitlines(), 1) if "3.80" in text)
    told = " ".join(result.stderr.split())
    assert f"{too_high}:{line}: protection.overvoltage.trip_volts" in told
    assert "A cell can reach 3.8453 V" in told
    assert "Write protection.overvoltage.trip_volts: 3.605 at most" in told
    assert "TOO HIGH" in result.stdout
    assert "Traceback" not in result.output


def test_the_value_it_tells_to_write_is_accepted(tmp_path: Path, hut_path: Path) -> None:
    file = tmp_path / "bank.yaml"
    file.write_text(hut_path.read_text().replace("trip_volts: 3.60", "trip_volts: 3.605"))
    assert run(file).exit_code == 0
    file.write_text(hut_path.read_text().replace("trip_volts: 3.60", "trip_volts: 3.606"))
    assert run(file).exit_code == 78


def test_json_holds_the_budget(hut_path: Path, hut_settings: SupervisorSettings) -> None:
    result = run(hut_path, "--json")
    assert result.exit_code == 0
    told = answer(result)
    assert told["fit"] is True
    assert told["faults"] == []
    for rule, budget in zip(told["rules"], budgets(hut_settings), strict=True):
        assert rule["rule"] == budget.rule
        assert rule["highest_v"] == budget.highest_v
        assert rule["response_s"] == sum(part["seconds"] for part in rule["response"])


def test_json_of_a_bad_file_holds_the_faults(too_high: Path) -> None:
    result = run(too_high, "--json")
    assert result.exit_code == 78
    told = answer(result)
    assert told["fit"] is False
    assert {fault["path"] for fault in told["faults"]} >= {"protection.overvoltage.trip_volts"}
    assert next(rule["rule"] for rule in told["rules"] if not rule["fits"]) == "overvoltage"


def test_a_missing_file_is_told_in_words(tmp_path: Path) -> None:
    result = run(tmp_path / "none.yaml", "--json")
    assert result.exit_code == 78
    assert answer(result)["rules"] == []
    assert "none.yaml" in result.stderr


def figures(text: str) -> list[str]:
    return re.findall(r"\d+\.\d+|\d+", text)


@pytest.mark.parametrize("columns", [24, 30, 40, 60, 79, 80])
def test_no_figure_is_cut_whatever_the_width(
    hut_path: Path, hut_settings: SupervisorSettings, columns: int
) -> None:
    shown = run(hut_path, columns=columns).stdout
    assert "\N{HORIZONTAL ELLIPSIS}" not in shown
    assert max(map(len, shown.splitlines())) <= max(columns, 30)
    flowing = " ".join(shown.split())
    for budget in budgets(hut_settings):
        assert f"{budget.limit:g} {budget.unit}" in flowing
        assert f"{budget.response_s:.3f} s" in flowing
        if budget.guard_band is not None and budget.guard_band < 10:
            assert f"{budget.guard_band:.4f}" in figures(shown)
        if budget.highest_v is not None:
            assert f"{budget.highest_v:.4f} V" in flowing


def test_a_pipe_gets_no_colour_and_ascii(hut_path: Path) -> None:
    shown = run(hut_path).stdout
    assert "\x1b" not in shown
    assert shown.isascii()


def test_no_color_is_obeyed_on_a_terminal(hut_path: Path) -> None:
    assert "\x1b[32m" in run(hut_path, FORCE_COLOR="1", TERM="xterm").stdout
    assert "\x1b[32m" not in run(hut_path, FORCE_COLOR="1", TERM="xterm", NO_COLOR="1").stdout


@pytest.mark.parametrize("rule", EXPLANATIONS)
def test_every_rule_can_be_explained_without_a_file(rule: str) -> None:
    result = run("--explain", rule)
    assert result.exit_code == 0
    flowing = " ".join(result.stdout.split())
    told = EXPLANATIONS[rule]
    assert f"function {told.function}," in flowing or not told.function
    assert told.protects in flowing
    assert told.if_off in flowing
    for typical in told.typical:
        assert f"{typical.key}: {typical.value} ({typical.source})" in flowing


def test_explaining_with_a_file_shows_values_descriptions_and_response(
    hut_path: Path, hut_settings: SupervisorSettings
) -> None:
    result = run("--explain", "overvoltage", hut_path)
    flowing = " ".join(result.stdout.split())
    for name, info in Overvoltage.model_fields.items():
        value = getattr(hut_settings.protection.overvoltage, name)
        assert f"{name}: {info.description} [here {value:g}]" in flowing
    for part in budgets(hut_settings)[0].response:
        assert f"{part.name}: {part.seconds:.3f} s" in flowing


def test_explaining_as_json(hut_path: Path) -> None:
    told = answer(run("--explain", "rate_of_rise", hut_path, "--json"))
    assert told["function"] == "7"
    assert [rule["unit"] for rule in told["rules"]] == ["V/min", "s"]
    assert "file" not in answer(run("--explain", "rate_of_rise", "--json"))


def test_an_unknown_rule_is_told_the_nearest() -> None:
    result = run("--explain", "over_voltage")
    assert result.exit_code == 2
    assert 'Did you mean "overvoltage"?' in result.stderr


def test_neither_file_nor_rule_is_a_usage_error() -> None:
    assert run().exit_code == 2
