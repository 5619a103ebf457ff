"""The snapshot's rules: each with what its budget promises for just that limit."""

from pathlib import Path

import pytest
from full_bank import full_settings
from loop_bench import LoopBench

from supervisor.protection.verdict import State, Verdict
from supervisor.sizing.response import budgets
from supervisor.snapshot import RuleView


@pytest.fixture(scope="module")
def bench(hut_path: Path, tmp_path_factory: pytest.TempPathFactory) -> LoopBench:
    return LoopBench(full_settings(hut_path.read_text("utf-8")), tmp_path_factory.mktemp("state"))


def view(bench: LoopBench, rule: str, limit: float, unit: str) -> RuleView:
    verdict = Verdict(rule, State.CLEAR, None, limit, unit, None, "", left_s=3.0)
    return bench.loop._viewer._rule_view(verdict, 0.0)


def test_the_figures_are_those_of_check(bench: LoopBench) -> None:
    budget = next(b for b in budgets(bench.settings) if b.rule == "overvoltage")
    shown = view(bench, "overvoltage", 3.60, "V")
    assert shown.guard_band == budget.guard_band
    assert shown.response_s == budget.response_s
    assert shown.highest_v == budget.highest_v
    assert shown.left_s == 3.0


@pytest.mark.parametrize(("celsius", "guard_band"), [(80.0, 2.0), (45.0, 0.5)])
def test_of_several_limits_the_one_that_is_meant(
    bench: LoopBench, celsius: float, guard_band: float
) -> None:
    """LM75 +-2 C on the heat sink, DS18B20 +-0.5 C on the cells (data sheets, from memory)."""
    assert view(bench, "temperature", celsius, "°C").guard_band == guard_band


def test_a_limit_is_meant_without_its_sign(bench: LoopBench) -> None:
    assert view(bench, "reverse_current", -3.0, "A").guard_band == pytest.approx(0.116, abs=0.001)


def test_where_the_current_decides_no_response_is_promised(bench: LoopBench) -> None:
    shown = view(bench, "supply_thermal", 100.0, "%")
    assert (shown.response_s, shown.guard_band, shown.highest_v) == (None, None, None)
    assert view(bench, "overcurrent_inverse", 115.0, "A").response_s is None


def test_of_two_ways_to_trip_the_higher_voltage(bench: LoopBench) -> None:
    """rate_of_rise bounds a voltage only by looking ahead."""
    shown = view(bench, "rate_of_rise", 0.06, "V/min")
    assert shown.highest_v == max(
        b.highest_v for b in budgets(bench.settings) if b.rule == "rate_of_rise" and b.highest_v
    )
