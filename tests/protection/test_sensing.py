"""Sensing: answers that cannot be true. No answer at all is not its business."""

import pytest
from cycles import CANNOT_TELL, CLEAR, CYCLE_S, TRIP, Value, feed, states, windows, with_rule

from supervisor.protection.rules.sensing import SensingRule
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings

UNTRUE = [
    Quality.CLIPPED,
    Quality.OUT_OF_RANGE,
    Quality.CONFIG_CHANGED,
    Quality.NOT_READY,
]
CHANNELS = ["front", "far", "amperes"]


@pytest.fixture
def rule(hut_settings: SupervisorSettings) -> SensingRule:
    return SensingRule(with_rule(hut_settings, "sensing", trip_after_seconds=0.25))


def good(what: str) -> float:
    return 50.0 if what == "amperes" else 3.4


@pytest.mark.parametrize("what", CHANNELS)
def test_good_readings_are_clear(rule: SensingRule, what: str) -> None:
    assert set(states(feed(rule, windows(what, [good(what)] * 50)))) == {CLEAR}


@pytest.mark.parametrize("quality", UNTRUE)
@pytest.mark.parametrize("what", CHANNELS)
def test_untrue_for_long_enough_trips(rule: SensingRule, what: str, quality: Quality) -> None:
    steps = windows(what, [good(what)] + [quality] * 6, step_s=1 / 16)
    verdicts = feed(rule, steps)
    assert states(verdicts) == [CLEAR] + [CANNOT_TELL] * 3 + [TRIP] * 3
    assert verdicts[4].since_s == 0.0
    assert quality.value in verdicts[4].reason
    assert "for 0.25 s" in verdicts[4].reason


@pytest.mark.parametrize("what", CHANNELS)
def test_frozen_trips_at_once(rule: SensingRule, what: str) -> None:
    verdicts = feed(rule, windows(what, [good(what), Quality.FROZEN]))
    assert states(verdicts) == [CLEAR, TRIP]
    assert "very same code" in verdicts[1].reason


def test_untrue_from_the_first_cycle_on(rule: SensingRule) -> None:
    verdicts = feed(rule, windows("far", [Quality.CLIPPED] * 6, step_s=1 / 16))
    assert states(verdicts) == [CANNOT_TELL] * 4 + [TRIP] * 2


def test_each_class_of_fault_says_where_to_look(rule: SensingRule) -> None:
    reasons = {
        feed(rule, [(k * 100.0, {"front": quality})])[0].reason.split(": ", 1)[1]
        for k, quality in enumerate([*UNTRUE, Quality.FROZEN])
    }
    assert len(reasons) == len(UNTRUE) + 1


@pytest.mark.parametrize("quality", [Quality.CLIPPED, Quality.OUT_OF_RANGE])
def test_isolated_bad_readings_never_trip(rule: SensingRule, quality: Quality) -> None:
    values: list[Value] = ([3.4] * 10 + [quality]) * 500
    assert TRIP not in states(feed(rule, windows("front", values, CYCLE_S)))


@pytest.mark.parametrize(("good_ones", "seconds"), [(1, 0.7), (2, 1.1), (4, 2.5), (8, 40.0)])
def test_a_fault_that_comes_and_goes_does_not_live_for_ever(
    rule: SensingRule, good_ones: int, seconds: float
) -> None:
    values: list[Value] = ([3.4] * good_ones + [Quality.OUT_OF_RANGE]) * 2000
    verdicts = feed(rule, windows("far", values[: round(seconds / CYCLE_S)], CYCLE_S))
    tripped = next(v for v in verdicts if v.state is TRIP)
    assert "again and again" in tripped.reason


def test_no_answer_is_for_stale(rule: SensingRule) -> None:
    verdicts = feed(rule, windows("front", [3.4] + [Quality.NO_ANSWER] * 100))
    assert set(states(verdicts)) == {CLEAR}


def test_no_answer_in_between_does_not_save_what_is_untrue(rule: SensingRule) -> None:
    values = [3.4] + [Quality.NO_ANSWER, Quality.CLIPPED] * 10
    verdicts = feed(rule, windows("front", values, step_s=1 / 16))
    assert states(verdicts)[:5] == [CLEAR, CLEAR, CANNOT_TELL, CLEAR, TRIP]


def test_the_channel_that_trips_is_named_before_one_that_cannot_tell(rule: SensingRule) -> None:
    steps = [(0.0, {}), (0.1, {"front": Quality.CLIPPED, "amperes": Quality.FROZEN})]
    verdict = feed(rule, steps)[-1]
    assert verdict.state is TRIP
    assert verdict.reason.startswith("current is frozen")
