"""``holdwatch check``: figures, refusals, JSON, narrow terminals."""

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from full_bank import full_settings, full_text

from supervisor.cli.check import command
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import Overvoltage
from supervisor.sizing.explain import EXPLANATIONS, block_of, necessity
from supervisor.sizing.response import budgets
from supervisor.sizing.steps import Stage

ROOT = Path(__file__).parents[2]


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


@pytest.fixture
def full_path(tmp_path: Path, hut_path: Path) -> Path:
    """The example with every optional block fitted."""
    file = tmp_path / "full.yaml"
    file.write_text(full_text(hut_path.read_text("utf-8")), "utf-8")
    return file


@pytest.fixture
def full(hut_path: Path) -> SupervisorSettings:
    return full_settings(hut_path.read_text("utf-8"))


def shown_s(seconds: float) -> str:
    return f"{seconds:.3f}" if seconds < 100 else f"{seconds:.1f}"


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
        assert f"{shown_s(budget.response_s)} s" in row
        if budget.highest_v is not None:
            assert f"{budget.highest_v:.4f} V ok" in row


def test_a_limit_too_high_is_refused_and_says_what_to_write(too_high: Path) -> None:
    result = run(too_high)
    assert result.exit_code == 78
    line = next(n for n, text in enumerate(too_high.read_text().splitlines(), 1) if "3.80" in text)
    told = " ".join(result.stderr.split())
    assert f"{too_high}:{line}: protection.overvoltage.trip_volts" in told
    assert "A cell can reach 3.8453 V" in told
    assert "Write protection.overvoltage.trip_volts: 3.6 at most" in told
    assert "TOO HIGH" in result.stdout
    assert "Traceback" not in result.output


def test_faults_stand_alone_with_the_figures_they_are_about(too_high: Path) -> None:
    """Not above or below eighty lines of what is in order."""
    shown = run(too_high).stdout.splitlines()
    assert [line.split()[0] for line in shown if line.endswith("TOO HIGH")] == [
        "overvoltage",
        "sensing",
        "stale",
    ]
    assert len(shown) <= 12
    others = ("Guard band", "profile", "loop", "undervoltage")
    assert not any(line.startswith(others) for line in shown)


def test_faults_without_a_figure_have_no_table(tmp_path: Path, hut_path: Path) -> None:
    file = tmp_path / "bank.yaml"
    file.write_text(hut_path.read_text().replace("target_amperes: 100", "target_amperes: 200"))
    result = run(file)
    assert result.exit_code == 78
    assert result.stdout == ""
    assert "1 fault in" in result.stderr.splitlines()[-1]


def test_the_faults_come_last_also_in_one_pipe(too_high: Path) -> None:
    """As in `holdwatch check FILE 2>&1 | less`: written in the order of reading."""
    command = [sys.executable, "-m", "supervisor", "check", str(too_high)]
    done = subprocess.run(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False
    )
    shown = done.stdout.splitlines()
    assert "TOO HIGH" in done.stdout
    assert shown[-1].endswith("Nothing was started.")


def test_the_value_it_tells_to_write_is_accepted(tmp_path: Path, hut_path: Path) -> None:
    file = tmp_path / "bank.yaml"
    file.write_text(hut_path.read_text().replace("trip_volts: 3.60", "trip_volts: 3.600"))
    assert run(file).exit_code == 0
    file.write_text(hut_path.read_text().replace("trip_volts: 3.60", "trip_volts: 3.601"))
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


def test_json_holds_what_the_build_does_without(hut_path: Path, full_path: Path) -> None:
    told = answer(run(hut_path, "--json"))
    reason = "Example for demo and drills, no probes are fitted"
    assert told["off"] == [{"rule": "temperature", "why": reason}]
    assert told["not_fitted"] == ["overcurrent_inverse", "stage_limits", "second_line"]
    line, untried = told["cautions"]
    assert line == "no second line: only software opens the contactor."
    assert "holdwatch commission" in untried
    full = answer(run(full_path, "--json"))
    assert (full["off"], full["not_fitted"], full["cautions"]) == ([], [], [untried])


def test_json_holds_every_figure_of_a_budget(full_path: Path, full: SupervisorSettings) -> None:
    rules = {rule["title"]: rule for rule in answer(run(full_path, "--json"))["rules"]}
    assert set(rules) == {budget.title for budget in budgets(full)}
    inverse = rules["overcurrent_inverse"]
    assert (inverse["limit"], inverse["unit"], inverse["response_at"]) == (115, "A", 230)
    assert inverse["function"] == "76"
    assert inverse["setting"] == "protection.overcurrent_inverse.trip_amperes"
    line = rules["second_line"]
    assert line["starts_at_v"] + line["rise_v"] == line["highest_v"]
    assert line["starts_at_v"] == line["effective_limit"]
    assert all(rule["fits"] for rule in rules.values())


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
    told = answer(result)
    assert [told[key] for key in ("rules", "off", "not_fitted", "cautions")] == [[], [], [], []]
    assert "none.yaml" in result.stderr


def figures(text: str) -> list[str]:
    return re.findall(r"\d+\.\d+|\d+", text)


@pytest.mark.parametrize("columns", [24, 30, 40, 60, 79, 80])
def test_no_figure_is_cut_whatever_the_width(
    full_path: Path, full: SupervisorSettings, columns: int
) -> None:
    result = run(full_path, columns=columns)
    assert result.exit_code == 0, result.stderr
    shown = result.stdout
    assert "\N{HORIZONTAL ELLIPSIS}" not in shown
    assert max(map(len, shown.splitlines())) <= max(columns, 30)
    flowing = " ".join(shown.split())
    for budget in budgets(full):
        assert budget.title in flowing
        assert f"{budget.limit:g} {budget.unit}" in flowing
        assert f"{shown_s(budget.response_s)} s" in flowing
        if budget.guard_band is not None and budget.guard_band < 10:
            assert f"{budget.guard_band:.4f}" in figures(shown)
        if budget.highest_v is not None:
            assert f"{budget.highest_v:.4f} V" in flowing


@pytest.mark.parametrize("columns", [60, 80])
def test_the_parts_of_every_response_add_up(
    full_path: Path, full: SupervisorSettings, columns: int
) -> None:
    flowing = " ".join(run(full_path, columns=columns).stdout.split())
    for budget in budgets(full):
        see, delay, late, opening = (shown_s(budget.stage_s(stage)) for stage in Stage)
        in_all = shown_s(budget.response_s)
        table = f"{budget.title} {see} {delay} {late} {opening} {in_all}"
        line = f"response {in_all} s: see {see}, delay {delay}, late {late}, open {opening}"
        assert (table if columns == 80 else line) in flowing


def test_in_80_columns_no_row_is_broken(full_path: Path, full: SupervisorSettings) -> None:
    lines = run(full_path, columns=80).stdout.splitlines()
    for budget in budgets(full):
        assert len([line for line in lines if line.startswith(f"{budget.title} ")]) >= 2


@pytest.mark.parametrize("columns", [60, 200])
def test_what_the_build_does_without_is_told(hut_path: Path, columns: int) -> None:
    flowing = " ".join(run(hut_path, columns=columns).stdout.split())
    assert "CAUTION: no second line: only software opens the contactor." in flowing
    reason = "Example for demo and drills, no probes are fitted"
    assert f"off: temperature - because: {reason}" in flowing
    assert "not fitted: overcurrent_inverse, stage_limits, second_line" in flowing


def test_a_full_build_does_without_nothing(full_path: Path) -> None:
    shown = run(full_path).stdout
    assert shown.count("CAUTION") == 1  # of the record: the example goes without
    assert "off: " not in shown
    assert "not fitted" not in shown


def test_parts_that_are_fitted_are_summed_up(full_path: Path) -> None:
    shown = run(full_path, columns=120).stdout
    assert "second_line: guard, inputs 0-1, +-4.096 V, ALERT seen at pin 26" in shown
    assert "probe sink: lm75 0x4C, on heat sink" in shown
    assert "probe iron: ds18b20 28-0123456789ab, on transformer" in shown


def test_a_balance_within_its_error_is_refused(tmp_path: Path, full_path: Path) -> None:
    file = tmp_path / "fine.yaml"
    file.write_text(
        full_path.read_text("utf-8").replace("    trip_volts: 0.05", "    trip_volts: 0.01"),
        "utf-8",
    )
    result = run(file)
    assert result.exit_code == 78
    assert re.search(r"^balance +0.01 V 0.0116 .* TOO FINE$", result.stdout, re.MULTILINE)
    assert "Write protection.balance.trip_volts: 0.012 at least" in " ".join(result.stderr.split())


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
    assert f"Can be left out: {necessity(rule)}" in flowing
    assert f"Settings, below {'.'.join(block_of(rule))}:" in flowing
    for kind in told.classes:
        assert f"{kind.name}: {kind.shows}" in flowing
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


def test_explaining_shows_nested_settings_words_and_what_is_not_there(
    hut_path: Path, full_path: Path
) -> None:
    def explained(rule: str, *file: Path) -> str:
        return " ".join(run("--explain", rule, *file).stdout.split())

    assert re.search(r"rectifier\.continuous_amperes: [^[]+\[here 150\]", explained(
        "supply_thermal", hut_path))  # fmt: skip
    inverse = r'curve: [^[]+\[{}"iec_very_inverse"\]'
    assert re.search(inverse.format("if left out "), explained("overcurrent_inverse", hut_path))
    assert re.search(inverse.format("here "), explained("overcurrent_inverse", full_path))
    assert "off: temperature - because: Example" in explained("temperature", hut_path)
    assert "off: " not in explained("temperature", full_path)
    assert "off: " not in explained("temperature")
    assert re.search(r"Settings, below loop: lease_milliseconds: [^[]+\[here 400\] Typ", explained(
        "hang", hut_path))  # fmt: skip


def test_explaining_shows_every_step_of_each_of_its_budgets(
    full_path: Path, full: SupervisorSettings
) -> None:
    flowing = " ".join(run("--explain", "temperature", full_path).stdout.split())
    found = [budget for budget in budgets(full) if budget.rule == "temperature"]
    assert len(found) == 5
    for budget in found:
        assert f"{budget.title} (26)" in flowing
        for part in budget.response:
            assert f"{part.name}: {shown_s(part.seconds)} s" in flowing


def test_explaining_as_json(hut_path: Path) -> None:
    told = answer(run("--explain", "rate_of_rise", hut_path, "--json"))
    assert told["function"] == "7"
    assert [rule["unit"] for rule in told["rules"]] == ["V/min", "s"]
    assert "file" not in answer(run("--explain", "rate_of_rise", "--json"))
    told = answer(run("--explain", "sensing", "--json"))
    assert told["block"] == "protection.sensing"
    assert told["can_be_left_out"] == "no"
    assert "open lead" in {kind["name"] for kind in told["classes"]}


def test_an_unknown_rule_is_told_the_nearest() -> None:
    result = run("--explain", "over_voltage")
    assert result.exit_code == 2
    assert 'Did you mean "overvoltage"?' in result.stderr


def test_the_reference_of_settings_is_in_step() -> None:
    """Mend it with: holdwatch check --reference > config/REFERENCE.md"""
    result = run("--reference")
    assert result.exit_code == 0
    assert (ROOT / "config" / "REFERENCE.md").read_text("utf-8") == result.stdout
    assert "Function 60, voltage balance relay" in result.stdout


def test_neither_file_nor_rule_is_a_usage_error() -> None:
    assert run().exit_code == 2
