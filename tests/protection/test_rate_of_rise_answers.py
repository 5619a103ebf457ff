"""What rate of rise answers, number by number, and where exactly its limits lie.

0.06 V/min above 3.45 V, over 10 s, for 2 s; 3.65 V not within 3 s.
"""

from collections.abc import Callable
from math import nextafter
from typing import Any

import pytest
from cycles import CANNOT_TELL, CLEAR, TIMING, TRIP, Value, cycle, told_closed, told_open, with_rule

from supervisor.protection.rules.rate_of_rise import RateOfRiseRule
from supervisor.protection.verdict import Verdict
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings

STEP_S = 0.125  # exact in binary
CLOSED_AT_S = 64.0
TOO_FEW = Quality.TOO_FEW
Course = Callable[[float], Value]


@pytest.fixture
def rule(hut_settings: SupervisorSettings) -> RateOfRiseRule:
    return RateOfRiseRule(hut_settings)


def run(rule: RateOfRiseRule, seconds: float, **courses: Course) -> list[Verdict]:
    """A window every 0.125 s from the closing on; courses by the seconds since."""
    verdicts = []
    for k in range(1, round(seconds / STEP_S) + 1):
        t = k * STEP_S
        what: dict[str, Any] = {name: course(t) for name, course in courses.items()}
        now_s = CLOSED_AT_S + t
        verdicts.append(rule.judge(cycle(now_s, contactor=told_closed(CLOSED_AT_S), **what), now_s))
    return verdicts


def ramp(volts_per_minute: float, start: float = 3.46) -> Course:
    return lambda t: start + volts_per_minute / 60 * t


def test_says_who_it_is(rule: RateOfRiseRule) -> None:
    """Function 7 of IEEE C37.2, rate of change."""
    verdict = rule.judge(cycle(0.0, contactor=told_open(-1.0)), 0.0)
    assert (rule.key, rule.function) == ("rate_of_rise", "7")
    assert rule.remedy.startswith("turn the knob down before closing again; ")
    assert verdict == Verdict(
        "rate_of_rise", CLEAR, None, pytest.approx(0.06), "V/min", None, "the contactor is open"
    )


def test_settling(rule: RateOfRiseRule) -> None:
    settling = run(rule, 2.875, front=ramp(0.5))
    assert {v.reason for v in settling} == {"settling after closing"}
    assert {(v.state, v.measured, v.since_s) for v in settling} == {(CLEAR, None, None)}


def test_timing_and_trip_tell_how_fast_and_how_long(rule: RateOfRiseRule) -> None:
    verdicts = run(rule, 5.0, far=ramp(0.12))
    timing, tripped = verdicts[31], verdicts[39]
    assert (timing.rule, timing.state, tripped.state) == ("rate_of_rise", TIMING, TRIP)
    assert timing.since_s == tripped.since_s == CLOSED_AT_S + 3.0
    assert timing.measured == tripped.measured == pytest.approx(0.12)
    assert timing.reason == (
        "far cell at 3.468 V rises 0.120 V/min, faster than 0.060 V/min for 1.0 s"
    )
    assert tripped.reason == (
        "far cell at 3.470 V rises 0.120 V/min, faster than 0.060 V/min for 2.0 s"
    )
    assert [v.state for v in verdicts[23:]] == [TIMING] * 16 + [TRIP]


@pytest.mark.parametrize(("steep", "other"), [("front", "far"), ("far", "front")])
def test_the_steeper_cell_is_told(rule: RateOfRiseRule, steep: str, other: str) -> None:
    verdict = run(rule, 4.0, **{steep: ramp(0.09), other: ramp(0.07)})[-1]
    assert verdict.reason.startswith(f"{steep} cell at 3.466 V rises 0.090 V/min")


def test_nothing_near_the_end_of_charge(rule: RateOfRiseRule) -> None:
    verdict = run(rule, 4.0, front=ramp(0.5, start=3.0))[-1]
    assert (verdict.state, verdict.measured) == (CLEAR, None)
    assert verdict.reason == "every cell is below 3.450 V"


def test_slow_enough(rule: RateOfRiseRule) -> None:
    verdict = run(rule, 4.0, front=ramp(0.05))[-1]
    assert (verdict.state, verdict.measured, verdict.since_s) == (CLEAR, pytest.approx(0.05), None)
    assert verdict.reason == "no cell rises too fast"


def test_exactly_at_the_voltage_a_cell_counts(hut_settings: SupervisorSettings) -> None:
    for value, measured in ((3.5, 0.0), (nextafter(3.5, 0.0), None)):
        rule = RateOfRiseRule(with_rule(hut_settings, "rate_of_rise", above_volts=3.5))
        assert run(rule, 4.0, front=lambda _, v=value: v)[-1].measured == measured


def test_exactly_at_the_limit_is_within_it(hut_settings: SupervisorSettings) -> None:
    """A line without noise; its slope as the fit gives it, and one bit less as the limit."""

    def last(limit: float) -> Verdict:
        rule = RateOfRiseRule(with_rule(hut_settings, "rate_of_rise", trip_volts_per_minute=limit))
        return run(rule, 4.0, front=lambda t: 3.5 + t / 64)[-1]

    slope = last(60 / 64).measured
    assert slope == 60 / 64
    assert last(slope).state is CLEAR
    assert last(nextafter(slope, 0.0)).state is TIMING


def test_coming_to_the_brink_exactly_as_far_ahead_as_set(hut_settings: SupervisorSettings) -> None:
    """1/64 V/s, from 3.5 V; at 4 s, 3.5625 V: 4 s ahead lies 3.625 V."""

    def last(never_above_v: float) -> Verdict:
        settings = with_rule(
            hut_settings, "rate_of_rise", look_ahead_seconds=4.0, trip_volts_per_minute=10.0
        )
        bank = settings.bank.model_copy(update={"never_above_volts": never_above_v})
        rule = RateOfRiseRule(settings.model_copy(update={"bank": bank}))
        return run(rule, 4.0, front=lambda t: 3.5 + t / 64)[-1]

    at = last(3.625)
    assert (at.state, at.since_s) == (TRIP, CLOSED_AT_S + 4.0)
    assert at.measured == 60 / 64
    assert at.reason == ("front cell at 3.562 V rises 0.938 V/min and would reach 3.625 V in 4.0 s")
    assert last(nextafter(3.625, 4.0)).state is CLEAR
    past = last(3.5)
    assert past.reason.endswith("would reach 3.500 V in 0.0 s")


def test_a_level_voltage_past_the_brink_crosses_nothing(hut_settings: SupervisorSettings) -> None:
    """What does not rise, not even by a bit, is for the rules on the voltage itself."""
    assert {v.state for v in run(RateOfRiseRule(hut_settings), 4.0, front=lambda _: 3.75)} == {
        CLEAR
    }


def test_cannot_tell_shows_the_cell_that_can_be_told(rule: RateOfRiseRule) -> None:
    verdict = run(rule, 4.0, front=ramp(0.05), far=lambda _: TOO_FEW)[-1]
    assert (verdict.state, verdict.since_s) == (CANNOT_TELL, None)
    assert verdict.measured == pytest.approx(0.05)
    assert verdict.reason == "no good reading, far cell: too few"


def test_a_trip_outlasts_the_last_good_reading(rule: RateOfRiseRule) -> None:
    verdicts = run(rule, 5.5, front=lambda t: ramp(0.12)(t) if t <= 5.0 else TOO_FEW)
    tripped = verdicts[-1]
    assert (tripped.state, tripped.measured, tripped.since_s) == (TRIP, None, CLOSED_AT_S + 3.0)
    assert tripped.reason == (
        "a cell rose faster than 0.060 V/min for 2.5 s, now without a good reading"
    )
