"""Stale: no fresh answer. An answer that cannot be true is an answer, and for sensing."""

import pytest
from cycles import (
    CANNOT_TELL,
    CLEAR,
    CLOSED,
    CYCLE_S,
    FAR,
    FRONT,
    SHUNT,
    TRIP,
    Value,
    feed,
    reading,
    states,
    windows,
    with_rule,
)

from supervisor.protection.rules.stale import StaleRule
from supervisor.readings import Pace, Quality, Readings
from supervisor.settings.model import SupervisorSettings

CHANNELS = ["front", "far", "amperes"]
SILENT = Quality.NO_ANSWER


@pytest.fixture
def rule(hut_settings: SupervisorSettings) -> StaleRule:
    return StaleRule(with_rule(hut_settings, "stale", trip_after_seconds=0.25))


def good(what: str) -> float:
    return 50.0 if what == "amperes" else 3.4


@pytest.mark.parametrize("what", CHANNELS)
def test_answers_in_time_are_clear(rule: StaleRule, what: str) -> None:
    assert set(states(feed(rule, windows(what, [good(what)] * 50)))) == {CLEAR}


@pytest.mark.parametrize("what", CHANNELS)
def test_silence_for_long_enough_trips(rule: StaleRule, what: str) -> None:
    verdicts = feed(rule, windows(what, [good(what)] + [SILENT] * 6, step_s=1 / 16))
    assert states(verdicts) == [CLEAR] + [CANNOT_TELL] * 3 + [TRIP] * 3
    assert verdicts[4].since_s == 0.0
    assert "no fresh answer for 0.25 s" in verdicts[4].reason


def test_silent_from_the_first_cycle_on(rule: StaleRule) -> None:
    verdicts = feed(rule, windows("far", [SILENT] * 6, step_s=1 / 16))
    assert states(verdicts) == [CANNOT_TELL] * 4 + [TRIP] * 2


@pytest.mark.parametrize("quality", [Quality.CLIPPED, Quality.OUT_OF_RANGE, Quality.FROZEN])
def test_an_answer_that_cannot_be_true_is_an_answer(rule: StaleRule, quality: Quality) -> None:
    assert set(states(feed(rule, windows("front", [quality] * 100)))) == {CLEAR}


@pytest.mark.parametrize(("age_s", "state"), [(0.0, CLEAR), (0.24, CLEAR), (0.26, TRIP)])
def test_an_old_answer_is_no_fresh_one(rule: StaleRule, age_s: float, state: object) -> None:
    """Age counts from the conversion, however fresh the cycle that brings it."""
    scan = {c: reading(c, 3.4, 10.0 - (age_s if c is FAR else 0)) for c in (FRONT, FAR, SHUNT)}
    verdict = rule.judge(Readings(scan, None, False, CLOSED, Pace(0.0, 0)), 10.0)
    assert verdict.state is state
    assert verdict.measured == pytest.approx(age_s)


def test_a_channel_missing_from_the_scan_has_not_answered(rule: StaleRule) -> None:
    verdicts = feed(rule, [(0.0, {}), (0.2, {"far": None}), (0.4, {"far": None})])
    assert states(verdicts) == [CLEAR, CANNOT_TELL, TRIP]
    assert verdicts[-1].reason.startswith("far cell")


def test_isolated_silences_never_trip(rule: StaleRule) -> None:
    values: list[Value] = ([3.4] * 10 + [SILENT]) * 500
    assert TRIP not in states(feed(rule, windows("front", values, CYCLE_S)))


@pytest.mark.parametrize(("good_ones", "seconds"), [(1, 0.7), (2, 1.1), (4, 2.5)])
def test_a_bus_that_comes_and_goes_does_not_live_for_ever(
    rule: StaleRule, good_ones: int, seconds: float
) -> None:
    values: list[Value] = ([3.4] * good_ones + [SILENT]) * 200
    verdicts = feed(rule, windows("far", values[: round(seconds / CYCLE_S)], CYCLE_S))
    tripped = next(v for v in verdicts if v.state is TRIP)
    assert "again and again" in tripped.reason


def test_a_clock_that_runs_backwards_gives_no_negative_age(rule: StaleRule) -> None:
    verdicts = feed(rule, [(100.0, {}), (5.0, {"front": SILENT}), (5.1, {})])
    assert states(verdicts) == [CLEAR, CANNOT_TELL, CLEAR]
    assert all(v.measured is not None and v.measured >= 0 for v in verdicts)
