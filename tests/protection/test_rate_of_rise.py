"""Rate of rise: 0.06 V/min above 3.45 V, over 10 s, for 2 s; 3.65 V not within 3 s."""

from collections.abc import Callable
from math import nan
from random import Random

import pytest
from cycles import (
    CANNOT_TELL,
    CLEAR,
    TIMING,
    TRIP,
    WINDOW_S,
    Value,
    cycle,
    told_closed,
    told_open,
    with_rule,
)

from supervisor.protection.rules.rate_of_rise import RateOfRiseRule
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings

Volts = Callable[[float], Value]
TOO_FEW = Quality.TOO_FEW


@pytest.fixture
def rule(hut_settings: SupervisorSettings) -> RateOfRiseRule:
    return RateOfRiseRule(hut_settings)


def steady(_: float) -> float:
    return 3.40


def rising(volts_per_minute: float, from_v: float = 3.46, from_s: float = 0.0) -> Volts:
    return lambda t: from_v + volts_per_minute / 60 * max(0.0, t - from_s)


def charge(
    rule: RateOfRiseRule,
    until_s: float,
    *,
    front: Volts = steady,
    far: Volts = steady,
    from_s: float = 0.0,
    closed_at_s: float = 0.0,
) -> list[Verdict]:
    """One window every 100 ms while the contactor is closed."""
    verdicts = []
    for k in range(round((until_s - from_s) / WINDOW_S)):
        t = from_s + (k + 1) * WINDOW_S
        readings = cycle(t, front=front(t), far=far(t), contactor=told_closed(closed_at_s))
        verdicts.append(rule.judge(readings, t))
    return verdicts


def first(verdicts: list[Verdict], state: State) -> float | None:
    """When, in seconds, a state came first."""
    return next(((k + 1) * WINDOW_S for k, v in enumerate(verdicts) if v.state is state), None)


def test_clear_while_the_contactor_is_open(rule: RateOfRiseRule) -> None:
    for k in range(100):
        readings = cycle(k / 10, front=3.46 + k / 100, contactor=told_open(0.0))
        assert rule.judge(readings, k / 10).state is CLEAR


def test_clear_below_the_voltage_however_fast(rule: RateOfRiseRule) -> None:
    verdicts = charge(rule, 60, front=rising(0.5, from_v=2.9))
    assert {v.state for v in verdicts} == {CLEAR}


def test_clear_when_slow(rule: RateOfRiseRule) -> None:
    verdicts = charge(rule, 60, front=rising(0.05))
    assert {v.state for v in verdicts} == {CLEAR}
    assert verdicts[-1].measured == pytest.approx(0.05)


@pytest.mark.parametrize("cell", ["front", "far"])
def test_too_fast_times_then_trips(rule: RateOfRiseRule, cell: str) -> None:
    verdicts = charge(rule, 30, **{cell: rising(0.08)})
    timing_s, trip_s = first(verdicts, TIMING), first(verdicts, TRIP)
    assert timing_s is not None
    assert trip_s is not None
    assert trip_s - timing_s == pytest.approx(2.0, abs=WINDOW_S + 1e-6)
    tripped = verdicts[-1]
    assert (tripped.unit, tripped.limit) == ("V/min", pytest.approx(0.06))
    assert tripped.measured == pytest.approx(0.08)
    assert f"{cell} cell" in tripped.reason
    assert "0.080 V/min" in tripped.reason


def test_settling_after_closing_is_clear(rule: RateOfRiseRule) -> None:
    """The step over the cells' resistance as the current comes is no rise."""
    step = charge(rule, 60, front=lambda t: 3.40 if t < 0.8 else 3.46)
    assert {v.state for v in step} == {CLEAR}
    assert all(v.reason == "settling after closing" for v in step[:29])
    assert step[31].reason != "settling after closing"


def test_settling_starts_again_with_every_closing(rule: RateOfRiseRule) -> None:
    charge(rule, 8, front=rising(0.08))
    assert rule.judge(cycle(8.1, contactor=told_open(8.05)), 8.1).state is CLEAR
    again = charge(rule, 20, front=rising(0.08), from_s=9.0, closed_at_s=9.0)
    assert [v.state for v in again[:29]] == [CLEAR] * 29
    assert TRIP in [v.state for v in again]


def test_nothing_of_before_counts_after_closing_again(rule: RateOfRiseRule) -> None:
    timing = charge(rule, 4.0, front=rising(0.08))
    assert timing[-1].state is TIMING
    again = charge(rule, 12, front=rising(0.08), from_s=4.0, closed_at_s=4.0)
    timing_s, trip_s = first(again, TIMING), first(again, TRIP)
    assert timing_s is not None
    assert trip_s == pytest.approx(timing_s + 2.0, abs=WINDOW_S + 1e-6)
    higher = charge(rule, 22, front=lambda _: 3.55, from_s=12.0, closed_at_s=12.0)
    assert {v.state for v in higher} == {CLEAR}


def test_closing_anew_between_two_cycles_is_noticed(rule: RateOfRiseRule) -> None:
    charge(rule, 20, front=rising(0.05))
    verdict = rule.judge(cycle(20.05, new=False, contactor=told_closed(20.0)), 20.05)
    assert verdict.reason == "settling after closing"


def test_a_short_rise_does_not_trip(rule: RateOfRiseRule) -> None:
    """A ripple on the way: 4 mV up within a second, then flat."""
    verdicts = charge(rule, 60, front=lambda t: 3.46 + 0.004 * min(max(t - 20, 0), 1))
    assert TRIP not in {v.state for v in verdicts}


def test_noise_alone_is_no_rise(rule: RateOfRiseRule) -> None:
    """2 mV: over the first two seconds the slope's noise is 0.05 V/min, all but the limit."""
    noise = Random(5)
    verdicts = charge(rule, 300, front=lambda _: 3.5 + noise.gauss(0, 0.002))
    assert {v.state for v in verdicts} == {CLEAR}
    assert any(v.measured is not None and v.measured > v.limit for v in verdicts)


def test_noise_at_the_brink_is_no_crossing(rule: RateOfRiseRule) -> None:
    noise = Random(5)
    verdicts = charge(rule, 60, front=lambda _: 3.649 + noise.gauss(0, 0.0005))
    assert {v.state for v in verdicts} == {CLEAR}


def test_projected_crossing_trips_at_once(hut_settings: SupervisorSettings) -> None:
    """1.2 V/min from 3.405 V on: at 9.3 s, 3.65 V is less than 3 s away; no delay is waited for."""
    rule = RateOfRiseRule(with_rule(hut_settings, "rate_of_rise", delay_seconds=60.0))
    verdicts = charge(rule, 10, front=rising(1.2, from_v=3.405))
    assert first(verdicts, TRIP) == pytest.approx(9.3)
    tripped = next(v for v in verdicts if v.state is TRIP)
    assert tripped.reason.endswith("and would reach 3.650 V in 3.0 s")


def test_a_voltage_near_the_limit_that_does_not_rise_is_for_other_rules(
    rule: RateOfRiseRule,
) -> None:
    verdicts = charge(rule, 30, front=lambda _: 3.64)
    assert {v.state for v in verdicts} == {CLEAR}


def test_a_bad_window_cannot_tell_and_ends_no_timing(rule: RateOfRiseRule) -> None:
    slope = rising(0.08)
    verdicts = charge(rule, 30, front=lambda t: TOO_FEW if round(t, 1) in (4.0, 4.1) else slope(t))
    assert [verdicts[k].state for k in (38, 39, 40, 41)] == [
        TIMING, CANNOT_TELL, CANNOT_TELL, TIMING
    ]  # fmt: skip
    assert first(verdicts, TRIP) == pytest.approx(5.0, abs=0.21)


def test_fewer_than_half_of_the_windows_are_too_few(rule: RateOfRiseRule) -> None:
    """Two of three windows bad: the third, good, is not enough for a slope."""
    verdicts = charge(rule, 30, front=lambda t: 3.5 if round(t * 10) % 3 == 0 else TOO_FEW)
    good_ones = [v for k, v in enumerate(verdicts) if (k + 1) % 3 == 0][15:]
    assert {v.state for v in good_ones} == {CANNOT_TELL}
    assert "too few" in good_ones[-1].reason


def test_every_third_window_bad_is_enough(rule: RateOfRiseRule) -> None:
    slope = rising(0.08)
    verdicts = charge(rule, 30, front=lambda t: TOO_FEW if round(t * 10) % 3 == 0 else slope(t))
    assert first(verdicts, TRIP) == pytest.approx(5.0, abs=0.31)


def test_one_cell_too_fast_is_timed_though_the_other_cannot_tell(rule: RateOfRiseRule) -> None:
    verdicts = charge(rule, 10, front=rising(0.08), far=lambda t: TOO_FEW if t > 3.55 else 3.4)
    assert verdicts[40].state is CANNOT_TELL
    assert verdicts[-1].state is TRIP


def test_between_windows_the_last_verdict_stands(rule: RateOfRiseRule) -> None:
    last = charge(rule, 4.0, front=rising(0.08))[-1]
    assert last.state is TIMING
    for k in range(100):
        now_s = 4.0 + k / 70
        readings = cycle(now_s, front=3.7, new=False, contactor=told_closed(0.0))
        assert rule.judge(readings, now_s) is last


def test_no_number_is_no_reading(rule: RateOfRiseRule) -> None:
    verdicts = charge(rule, 10, front=lambda t: nan if t > 5 else 3.5)
    assert {v.state for v in verdicts[55:]} == {CANNOT_TELL}
