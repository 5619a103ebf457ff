"""Sensing: answers that cannot be true. No answer at all is not its business."""

import pytest
from cycles import CANNOT_TELL, CLEAR, CYCLE_S, TRIP, Value, feed, states, windows, with_rule

from supervisor.protection.rules.sensing import SensingRule
from supervisor.protection.sensing.flaws import FLAWS
from supervisor.protection.verdict import Verdict
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings

UNTRUE = [
    Quality.CLIPPED,
    Quality.OUT_OF_RANGE,
    Quality.CONFIG_CHANGED,
    Quality.NOT_READY,
    Quality.CHIP_RESET,
    Quality.WRONG_CHIP,
    Quality.TOO_COARSE,
    Quality.LEAD_OPEN,
    Quality.LEAD_SHORTED,
    Quality.LEAD_REVERSED,
]
ANSWERS = {Quality.GOOD, Quality.NO_ANSWER, Quality.TOO_FEW}  # not the business of this rule
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
    assert " is frozen: the very same code for too long" in verdicts[1].reason, "it says no time"


def test_untrue_from_the_first_cycle_on(rule: SensingRule) -> None:
    verdicts = feed(rule, windows("far", [Quality.CLIPPED] * 6, step_s=1 / 16))
    assert states(verdicts) == [CANNOT_TELL] * 4 + [TRIP] * 2


def test_every_quality_but_good_and_silent_is_a_flaw() -> None:
    assert {*UNTRUE, Quality.FROZEN} == set(Quality) - ANSWERS == set(FLAWS)


def test_each_class_of_fault_has_its_own_words_and_its_own_remedy(
    hut_settings: SupervisorSettings,
) -> None:
    said = [
        feed(SensingRule(hut_settings), [(0.0, {"front": quality})])[0]
        for quality in [*UNTRUE, Quality.FROZEN]
    ]
    assert len({verdict.reason for verdict in said}) == len(said)
    assert len({verdict.remedy for verdict in said}) == len(said)
    assert all(verdict.remedy and verdict.remedy != SensingRule.remedy for verdict in said)


def test_the_words_in_full(rule: SensingRule) -> None:
    verdicts = feed(rule, windows("far", [3.4] + [Quality.LEAD_REVERSED] * 5, step_s=1 / 16))
    assert verdicts[-1] == Verdict(
        rule="sensing",
        state=TRIP,
        measured=0.3125,
        limit=0.25,
        unit="s",
        since_s=0.0,
        reason="far cell has a reversed lead for 0.31 s: it reads a cell's voltage with the wrong "
        "sign",
        remedy="swap the two wires of the sense lead, at the cell or at the converter",
    )


def test_clear_in_full(rule: SensingRule) -> None:
    clear = Verdict("sensing", CLEAR, 0.0, 0.25, "s", None, "every answer is believable")
    assert feed(rule, [(0.0, {})]) == [clear]


def with_bias(settings: SupervisorSettings) -> SupervisorSettings:
    front = settings.channels.front_cell.model_copy(update={"open_lead_volts": 0.3})
    channels = settings.channels.model_copy(update={"front_cell": front})
    return settings.model_copy(update={"channels": channels})


def test_an_open_lead_may_be_a_shorted_one_unless_a_bias_resistor_tells(
    hut_settings: SupervisorSettings,
) -> None:
    rule = SensingRule(with_bias(hut_settings))
    front = feed(rule, [(0.0, {"front": Quality.LEAD_OPEN})])[0]
    far = feed(rule, [(1.0, {"far": Quality.LEAD_OPEN})])[0]
    assert "front cell has an open lead" in front.reason
    assert "what its bias resistor holds it at" in front.reason
    assert "far cell has an open lead" in far.reason
    assert "off, broken or shorted" in far.reason
    assert "open_lead_volts" in far.reason
    assert front.remedy != far.remedy
    assert "touch" in far.remedy
    assert "touch" not in front.remedy


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
