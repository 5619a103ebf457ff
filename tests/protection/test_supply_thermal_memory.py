"""What the rule on the supply's heat remembers over a restart, and its invariants."""

from math import exp, inf, nan
from typing import Any

import pytest
from cycles import CLEAR, TIMING, TRIP, Value, cycle, feed, told_open
from hypothesis import given
from hypothesis import strategies as st
from thermal import carry, heated, kept, with_thermal

from supervisor.protection.rules.supply_thermal import SupplyThermalRule
from supervisor.protection.verdict import Verdict
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings

BAD = Quality.TOO_FEW
HUT = {"rectifier_a": 150.0, "transformer_a": 140.0}


@pytest.fixture
def rule(hut_settings: SupervisorSettings) -> SupplyThermalRule:
    return SupplyThermalRule(with_thermal(hut_settings))


@pytest.fixture
def hut_rule(hut_settings: SupervisorSettings) -> SupplyThermalRule:
    return SupplyThermalRule(hut_settings)


def test_remembers_each_part_as_it_stands_now(hut_rule: SupplyThermalRule) -> None:
    heated(hut_rule, 0.5, 0.6).judge(cycle(0.0, amperes=0.0), 0.0)
    assert hut_rule.memory(0.0) == HUT | {"rectifier": 0.5, "transformer": 0.6}
    later = hut_rule.memory(300.0)
    assert later["rectifier"] == pytest.approx(0.5 * exp(-1))
    assert later["transformer"] == pytest.approx(0.6 * exp(-300 / 2400))
    assert hut_rule.memory(0.0) == HUT | {"rectifier": 0.5, "transformer": 0.6}


def test_remembers_what_was_not_seen_at_the_last_current(rule: SupplyThermalRule) -> None:
    heated(rule, 0.0).judge(cycle(0.0, amperes=150.0), 0.0)
    assert rule.memory(100.0)["rectifier"] == pytest.approx(2.25 * (1 - exp(-100 / 600)))


def test_nothing_is_remembered_of_a_first_start(hut_rule: SupplyThermalRule) -> None:
    assert hut_rule.memory(1000.0) == HUT | {"rectifier": 0.0, "transformer": 0.0}


def test_a_recall_takes_the_place_of_the_last_verdict(rule: SupplyThermalRule) -> None:
    rule.judge(cycle(0.0, amperes=0.0), 0.0)
    verdict = heated(rule, 0.95).judge(cycle(0.0, amperes=0.0, new=False), 0.0)
    assert verdict.measured == 95.0


def test_time_counts_from_the_recall_on(rule: SupplyThermalRule) -> None:
    """What flows at the first window has flowed since."""
    rule.recall(kept(rule, rectifier=0.0), 50.0, is_whole=True)
    verdict = rule.judge(cycle(150.0, amperes=150.0), 150.0)
    assert verdict.measured == pytest.approx(225 * (1 - exp(-100 / 600)))


AMPERES = {"rectifier_a": 100.0}
UNKNOWN: list[tuple[Any, bool]] = [
    (None, False),
    (None, True),
    ({}, True),
    (AMPERES, True),
    ({"rectifier": 0.1}, True),
    ({"transformer": 0.1} | AMPERES, True),
    ({"rectifier": nan} | AMPERES, True),
    ({"rectifier": -0.001} | AMPERES, True),
    ({"rectifier": inf} | AMPERES, True),
    ({"rectifier": 10.001} | AMPERES, True),
    ({"rectifier": 1e308} | AMPERES, True),
    ({"rectifier": 0.1, "rectifier_a": nan}, True),
    ({"rectifier": 0.1} | AMPERES, False),
]


@pytest.mark.parametrize(("memory", "is_whole"), UNKNOWN)
def test_what_nobody_knows_counts_as_hot_as_it_can_have_got(
    rule: SupplyThermalRule, memory: Any, is_whole: bool
) -> None:
    """For ever at just below the definite limit of 130 A, which bears 100 A: 1.3^2."""
    rule.recall(memory, 0.0, is_whole=is_whole)
    assert rule.memory(0.0) == AMPERES | {"rectifier": pytest.approx(1.69)}
    waiting = rule.judge(cycle(0.0, amperes=0.0, contactor=told_open(-1.0)), 0.0)
    assert waiting.state is TIMING
    assert waiting.measured == pytest.approx(169.0)
    assert waiting.reason == (
        "it is not known how hot the supply is; taken as rectifier at 169 % of the heat "
        "that trips: closing waits 6 min, until it is below 90 %"
    )


def test_a_part_that_bears_every_current_counts_as_hot(rule: SupplyThermalRule) -> None:
    rule._most_rms_a = 50.0
    rule.recall(None, 0.0, is_whole=False)
    assert rule.memory(0.0)["rectifier"] == 1.0


@pytest.mark.parametrize(("theta", "is_credible"), [(0.0, True), (10.0, True), (10.001, False)])
def test_no_more_is_believed_than_can_be(
    rule: SupplyThermalRule, theta: float, is_credible: bool
) -> None:
    rule.recall(kept(rule, rectifier=theta), 0.0, is_whole=True)
    assert (rule.memory(0.0)["rectifier"] == theta) is is_credible


def test_other_amperes_in_the_settings_make_it_another_heat(rule: SupplyThermalRule) -> None:
    """Heat goes with the square of the current: what 200 A bear is four times what 100 A do."""
    rule.recall({"rectifier": 0.25, "rectifier_a": 200.0}, 0.0, is_whole=True)
    assert rule.memory(0.0) == AMPERES | {"rectifier": 1.0}


def test_hot_it_may_cool_but_not_be_loaded(rule: SupplyThermalRule) -> None:
    for amperes, state in (99.0, TIMING), (101.0, TRIP):
        rule.recall(None, 0.0, is_whole=False)
        rule._parts["rectifier"].theta = 1.0
        assert rule.judge(cycle(0.1, amperes=amperes), 0.1).state is state


def test_once_cooled_the_heat_is_known_again(rule: SupplyThermalRule) -> None:
    rule.recall(None, 0.0, is_whole=False)
    ways = {"contactor": told_open(0.0)}
    assert carry(rule, 0.0, 400.0, **ways)[-1].state is CLEAR
    carry(rule, 150.0, 60.0, from_s=400.0)
    again = carry(rule, 0.0, 1.0, from_s=460.0, **ways)[-1]
    assert again.state is TIMING
    assert "did not tell" not in again.reason


def test_zero_is_as_credible_as_any(rule: SupplyThermalRule) -> None:
    rule.recall(kept(rule, rectifier=0.0), 0.0, is_whole=True)
    verdict = rule.judge(cycle(0.0, amperes=0.0), 0.0)
    assert (verdict.state, verdict.measured) == (CLEAR, 0.0)


def test_a_known_heat_is_not_called_unknown(rule: SupplyThermalRule) -> None:
    verdict = heated(rule, 0.95).judge(cycle(0.0, amperes=0.0, contactor=told_open(0.0)), 0.0)
    assert "did not tell" not in verdict.reason


def test_hotter_than_hot_stays_hotter(rule: SupplyThermalRule) -> None:
    for is_whole in (True, False):
        rule.recall(kept(rule, rectifier=1.8), 0.0, is_whole=is_whole)
        assert rule.memory(0.0) == AMPERES | {"rectifier": 1.8}


# Invariants

series = st.lists(
    st.tuples(st.floats(-300, 300) | st.none(), st.floats(0, 300), st.booleans()),
    min_size=1,
    max_size=30,
)


def judged(
    rule: SupplyThermalRule, values: list[tuple[Value, bool]], gap_s: float
) -> list[Verdict]:
    """One window after each gap: its current, and whether the contactor is told to close."""
    verdicts = []
    for k, (amperes, closed) in enumerate(values):
        ways = {} if closed else {"contactor": told_open(0.0)}
        verdicts += feed(rule, [(k * gap_s, {"amperes": amperes, **ways})])
    return verdicts


@given(series=series, gap_s=st.floats(0.1, 200))
def test_more_current_is_never_cooler_and_never_trips_later(
    hut_settings: SupervisorSettings,
    series: list[tuple[float | None, float, bool]],
    gap_s: float,
) -> None:
    less: list[tuple[Value, bool]] = [(BAD if a is None else a, c) for a, _, c in series]
    more: list[tuple[Value, bool]] = [
        (BAD if a is None else abs(a) + extra, c) for a, extra, c in series
    ]
    cooler, hotter = (
        judged(SupplyThermalRule(hut_settings), values, gap_s) for values in (less, more)
    )
    for one, other in zip(cooler, hotter, strict=True):
        if TRIP in (one.state, other.state):
            assert other.state is TRIP
            break
        assert one.measured is not None
        assert other.measured is not None
        assert one.measured <= other.measured


@given(series=series, gap_s=st.floats(0.1, 200), rest_s=st.floats(0, 1000), whole=st.booleans())
def test_a_restart_never_makes_it_cooler(
    hut_settings: SupervisorSettings,
    series: list[tuple[float | None, float, bool]],
    gap_s: float,
    rest_s: float,
    whole: bool,
) -> None:
    before = SupplyThermalRule(hut_settings)
    judged(before, [(BAD if a is None else a, c) for a, _, c in series], gap_s)
    now_s = (len(series) - 1) * gap_s + rest_s
    kept = before.memory(now_s)
    after = SupplyThermalRule(hut_settings)
    after.recall(kept, now_s, is_whole=whole)
    recalled = after.memory(now_s)
    assert all(recalled[name] >= theta for name, theta in kept.items())
    if whole:
        assert recalled == kept
