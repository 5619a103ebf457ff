"""Backward current: two causes, told apart; the limit, its count and delay: test_limit_rules.py."""

from math import inf, nan, nextafter

import pytest
from cycles import (
    CLEAR,
    TIMING,
    TRIP,
    Value,
    cycle,
    feed,
    states,
    told_closed,
    told_open,
    with_rule,
)
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.polarity import RECTIFIER_REMEDY, SWAPPED_REMEDY, UNKNOWN, Polarity
from supervisor.protection.rules.reverse_current import ReverseCurrentRule
from supervisor.protection.verdict import Verdict
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings

STEP_S = 0.125
STEP_V = 125e-6  # of +-4.096 V: ADS1115 data sheet
SIGNIFICANT_V = 4 * STEP_V
REST_V = 3.3

SWAPPED = "so most likely the shunt's sense wires are swapped"
RECTIFIER = "so the rectifier has failed"
NEVER = "it was never positive since closing"


class Course:
    """Means one after the other: open and at rest for a while, then closed at 1 s."""

    def __init__(self, rule: ReverseCurrentRule, rest_v: Value = REST_V) -> None:
        self.rule = rule
        self.k = 0
        self.contactor = told_open(-10.0)
        for _ in range(8):
            self.mean(0.0, rest_v)
        self.contactor = told_closed(self.k * STEP_S)

    def mean(self, amperes: Value, front_v: Value = REST_V) -> Verdict:
        at_s = self.k * STEP_S
        self.k += 1
        readings = cycle(at_s, front=front_v, amperes=amperes, contactor=self.contactor)
        return self.rule.judge(readings, at_s)

    def backward(self, front_v: Value = REST_V, amperes: float = -8.0) -> Verdict:
        """Until it trips: a second and more."""
        for _ in range(12):
            verdict = self.mean(amperes, front_v)
        assert verdict.state is TRIP
        return verdict


@pytest.fixture
def rule(hut_settings: SupervisorSettings) -> ReverseCurrentRule:
    return ReverseCurrentRule(hut_settings)


@pytest.fixture
def course(rule: ReverseCurrentRule) -> Course:
    return Course(rule)


def test_never_positive_is_swapped_wires_in_full(course: Course) -> None:
    assert course.backward() == Verdict(
        rule="reverse_current",
        state=TRIP,
        measured=-8.0,
        limit=-3.0,
        unit="A",
        since_s=1.0,
        reason="current -8.0 A is below -3.0 A for 1.4 s: it was never positive since closing, so "
        "most likely the shunt's sense wires are swapped",
        remedy=SWAPPED_REMEDY,
    )


def test_positive_before_is_the_rectifier_in_full(course: Course) -> None:
    course.mean(50.0)
    verdict = course.backward()
    assert verdict.reason == (
        "current -8.0 A is below -3.0 A for 1.4 s: it was positive since closing and has turned "
        "round, so the rectifier has failed"
    )
    assert verdict.remedy == RECTIFIER_REMEDY


def test_while_timing_it_says_so_already(course: Course) -> None:
    verdict = course.mean(-8.0)
    assert verdict.state is TIMING
    assert verdict.reason.endswith(f"{NEVER}, {SWAPPED}")
    assert verdict.remedy == SWAPPED_REMEDY


def test_clear_has_no_cause_and_no_remedy_of_its_own(course: Course) -> None:
    verdict = course.mean(5.0)
    assert (verdict.state, verdict.reason, verdict.remedy) == (CLEAR, "not below -3.0 A", "")


def test_cannot_tell_has_none_either(course: Course) -> None:
    verdict = course.mean(Quality.TOO_FEW)
    assert verdict.reason == "no good reading, current: too few"
    assert verdict.remedy == ""


@pytest.mark.parametrize(
    ("amperes", "cause"),
    [(1.0, SWAPPED), (nextafter(1.0, inf), RECTIFIER), (0.0, SWAPPED), (nan, SWAPPED)],
)
def test_positive_is_more_than_what_may_be_read_at_zero(
    course: Course, amperes: float, cause: str
) -> None:
    course.mean(amperes)
    assert course.backward().reason.endswith(cause)


def test_that_is_the_settings_zero(hut_settings: SupervisorSettings) -> None:
    course = Course(ReverseCurrentRule(with_rule(hut_settings, "sensing", zero_amperes=2.5)))
    course.mean(2.4)
    assert course.backward().reason.endswith(SWAPPED)


def test_one_positive_mean_is_enough_however_long_ago(course: Course) -> None:
    course.mean(2.0)
    for _ in range(1000):
        course.mean(-1.0)
    assert course.backward().reason.endswith(RECTIFIER)


@pytest.mark.parametrize(
    ("moved_v", "words", "remedy"),
    [
        (0.0021, f"{NEVER}, while the front cell has risen by 2.1 mV and is being charged, "
         f"{SWAPPED}", SWAPPED_REMEDY),
        (SIGNIFICANT_V + 1e-6, f"{NEVER}, while the front cell has risen by 0.5 mV and is being "
         f"charged, {SWAPPED}", SWAPPED_REMEDY),
        (SIGNIFICANT_V - 1e-6, f"{NEVER}, {SWAPPED}", SWAPPED_REMEDY),
        (-SIGNIFICANT_V + 1e-6, f"{NEVER}, {SWAPPED}", SWAPPED_REMEDY),
        (-SIGNIFICANT_V - 1e-6, f"{NEVER}, but the front cell has fallen by 0.5 mV, {RECTIFIER}",
         RECTIFIER_REMEDY),
        (-0.0034, f"{NEVER}, but the front cell has fallen by 3.4 mV, {RECTIFIER}",
         RECTIFIER_REMEDY),
    ],
)  # fmt: skip
def test_the_front_cell_is_a_witness_when_it_has_moved(
    course: Course, moved_v: float, words: str, remedy: str
) -> None:
    verdict = course.backward(REST_V + moved_v)
    assert verdict.reason.endswith(f" s: {words}")
    assert verdict.remedy == remedy


@pytest.mark.parametrize("way", [1, -1])
def test_exactly_four_steps_of_the_converter_are_no_move(
    rule: ReverseCurrentRule, way: int
) -> None:
    """From 0 V, where the difference is exact."""
    verdict = Course(rule, rest_v=0.0).backward(way * SIGNIFICANT_V)
    assert verdict.reason.endswith(f"{NEVER}, {SWAPPED}")


def test_the_words_of_either_cause_say_what_to_do() -> None:
    assert UNKNOWN.words == "it flows out of the bank, or the shunt's sense wires are swapped"
    assert "swap the shunt's two sense wires" in SWAPPED_REMEDY
    assert "clamp meter" in SWAPPED_REMEDY
    assert RECTIFIER_REMEDY.startswith("disconnect the supply from the bank before touching")


def test_a_divider_makes_a_move_less_significant(hut_settings: SupervisorSettings) -> None:
    front = hut_settings.channels.front_cell.model_copy(update={"gain": 2.0})
    channels = hut_settings.channels.model_copy(update={"front_cell": front})
    settings = hut_settings.model_copy(update={"channels": channels})
    said = Course(ReverseCurrentRule(settings)).backward(REST_V - 2 * SIGNIFICANT_V + 1e-6)
    assert said.reason.endswith(f"{NEVER}, {SWAPPED}")


def test_the_move_counts_from_the_last_mean_before_closing(rule: ReverseCurrentRule) -> None:
    course = Course(rule, rest_v=3.2)
    course.contactor = told_open(-10.0)
    course.mean(0.0, 3.3)
    course.contactor = told_closed(course.k * STEP_S)
    assert "risen by 1.0 mV" in course.backward(3.301).reason


@pytest.mark.parametrize("bad", [Quality.LEAD_OPEN, nan])
@pytest.mark.parametrize("when", ["before", "since"])
def test_a_front_cell_that_cannot_be_told_is_no_witness(
    rule: ReverseCurrentRule, bad: Value, when: str
) -> None:
    rest_v, front_v = (bad, 3.1) if when == "before" else (REST_V, bad)
    verdict = Course(rule, rest_v).backward(front_v)
    assert verdict.reason.endswith(f"{NEVER}, {SWAPPED}")


def test_a_mean_that_is_lost_leaves_the_last_one(course: Course) -> None:
    course.mean(-8.0, REST_V - 0.002)
    assert "fallen by 2.0 mV" in course.backward(Quality.TOO_FEW).reason


def test_each_closing_is_judged_by_itself(course: Course) -> None:
    """The lead was mended the wrong way: what was positive before the opening does not count."""
    course.mean(50.0)
    course.contactor = told_open(course.k * STEP_S)
    for _ in range(4):
        course.mean(0.0, 3.32)
    course.contactor = told_closed(course.k * STEP_S)
    assert course.backward(3.322).reason.endswith(
        f"{NEVER}, while the front cell has risen by 2.0 mV and is being charged, {SWAPPED}"
    )


def test_without_a_closing_it_is_one_or_the_other(rule: ReverseCurrentRule) -> None:
    contactor = told_open(-10.0)
    steps = [(k * STEP_S, {"amperes": -8.0, "contactor": contactor}) for k in range(12)]
    verdict = feed(rule, steps)[-1]
    assert verdict.reason.endswith(f" s: {UNKNOWN.words}")
    assert verdict.remedy == "", "so that the rule's own holds"
    assert "sense wires" in rule.remedy
    assert "rectifier" in rule.remedy


def test_between_windows_the_answer_stays(course: Course) -> None:
    said = course.backward()
    at_s = course.k * STEP_S
    readings = cycle(at_s, amperes=50.0, new=False, contactor=course.contactor)
    assert course.rule.judge(readings, at_s) == said
    assert course.backward().reason.endswith(SWAPPED), "that window was not new"


def test_before_the_first_window(rule: ReverseCurrentRule) -> None:
    verdict = rule.judge(cycle(0.0, means="none yet", contactor=told_closed(0.0)), 0.0)
    assert verdict.reason == "no window of readings is complete yet"


@given(st.lists(st.floats(-200, 200), max_size=80), st.floats(3.0, 3.6))
def test_key_limit_and_count_are_those_of_the_plain_rule(
    hut_settings: SupervisorSettings, amperes: list[float], front_v: float
) -> None:
    """-3 A for a second, in 4 of 5 means: the causes change words only."""
    course = Course(ReverseCurrentRule(hut_settings))
    said = [course.mean(value, front_v) for value in amperes]
    below = [value < -3.0 for value in amperes]
    for k, verdict in enumerate(said):
        if verdict.state is TRIP:
            assert sum(below[max(0, k - 4) : k + 1]) >= 4
        assert (verdict.rule, verdict.limit, verdict.unit) == ("reverse_current", -3.0, "A")
        assert bool(verdict.remedy) is (verdict.state in (TIMING, TRIP))
    if len(below) >= 12 and all(below[-12:]):
        assert states(said)[-1] is TRIP


def test_a_closing_with_no_mean_before_it(hut_settings: SupervisorSettings) -> None:
    polarity = Polarity(hut_settings)
    polarity.take(cycle(0.0, front=3.0, amperes=-5.0, contactor=told_closed(0.0)))
    assert polarity.cause().words == f"{NEVER}, {SWAPPED}"
