"""The five rules with a plain limit: overvoltage twice, undervoltage, overcurrent, reverse."""

from collections.abc import Callable
from typing import Any, NamedTuple

import pytest
from cycles import (
    CANNOT_TELL,
    CLEAR,
    CYCLE_S,
    FAR,
    FRONT,
    SHUNT,
    TIMING,
    TRIP,
    Value,
    cycle,
    feed,
    reading,
    states,
    windows,
    without_far_cell,
)
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.rules.overcurrent import OvercurrentRule
from supervisor.protection.rules.overvoltage import OvervoltageRule
from supervisor.protection.rules.overvoltage_high_set import OvervoltageHighSetRule
from supervisor.protection.rules.reverse_current import ReverseCurrentRule
from supervisor.protection.rules.undervoltage import UndervoltageRule
from supervisor.protection.verdict import Rule
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings

BAD = Quality.OUT_OF_RANGE


class Case(NamedTuple):
    """A rule, what it watches, a value within and one past its limit, and its delay."""

    make: Callable[[SupervisorSettings], Rule]
    what: str
    within: float
    past: float
    delay_s: float

    @property
    def steps(self) -> int:
        """Windows of 0.125 s that it is timing; the high set waits for a second conversion."""
        return max(1, round(self.delay_s / 0.125))


CASES = [
    Case(OvervoltageRule, "front", 3.55, 3.612, 1.0),
    Case(OvervoltageRule, "far", 3.55, 3.612, 1.0),
    Case(OvervoltageHighSetRule, "front", 3.61, 3.64, 0.0),
    Case(OvervoltageHighSetRule, "far", 3.61, 3.64, 0.0),
    Case(UndervoltageRule, "front", 2.6, 2.4, 2.0),
    Case(UndervoltageRule, "far", 2.6, 2.4, 2.0),
    Case(OvercurrentRule, "amperes", 129.0, 131.0, 3.0),
    Case(ReverseCurrentRule, "amperes", -2.9, -3.1, 1.0),
]
table = pytest.mark.parametrize(
    "case", CASES, ids=[f"{case.make.__name__}-{case.what}" for case in CASES]
)


@table
def test_clear_within_the_limit(hut_settings: SupervisorSettings, case: Case) -> None:
    verdicts = feed(case.make(hut_settings), windows(case.what, [case.within] * 100))
    assert set(states(verdicts)) == {CLEAR}
    assert verdicts[-1].since_s is None


@table
def test_times_then_trips(hut_settings: SupervisorSettings, case: Case) -> None:
    verdicts = feed(case.make(hut_settings), windows(case.what, [case.past] * (case.steps + 3)))
    assert states(verdicts) == [TIMING] * case.steps + [TRIP] * 3
    tripped = verdicts[-1]
    assert tripped.measured == case.past
    assert tripped.since_s == 0.0
    assert f"{case.past:g}" in tripped.reason


@table
def test_back_within_the_limit_in_time_is_clear(
    hut_settings: SupervisorSettings, case: Case
) -> None:
    values = [case.past] * max(1, case.steps - 1) + [case.within] * 30
    verdicts = feed(case.make(hut_settings), windows(case.what, values))
    assert TRIP not in states(verdicts)
    assert verdicts[-1].state is CLEAR


@table
def test_cannot_tell_when_its_input_is_bad(hut_settings: SupervisorSettings, case: Case) -> None:
    values = [case.within, BAD, case.within]
    verdicts = feed(case.make(hut_settings), windows(case.what, values))
    assert states(verdicts) == [CLEAR, CANNOT_TELL, CLEAR]
    assert "no good reading" in verdicts[1].reason


@table
def test_a_bad_reading_neither_trips_nor_clears_what_is_timing(
    hut_settings: SupervisorSettings, case: Case
) -> None:
    """Isolated zeros among good readings, in the field: they must not end a timing."""
    values: list[Value] = [case.past, BAD, BAD, BAD] * case.steps + [case.past]
    verdicts = feed(case.make(hut_settings), windows(case.what, values))
    first_trip = states(verdicts).index(TRIP)
    assert values[first_trip] == case.past
    assert states(verdicts)[1:4] == [CANNOT_TELL] * 3
    assert verdicts[first_trip].since_s == 0.0


@table
def test_a_delay_ends_with_a_good_reading_only(
    hut_settings: SupervisorSettings, case: Case
) -> None:
    values: list[Value] = [case.past] * case.steps + [BAD] * 50
    verdicts = feed(case.make(hut_settings), windows(case.what, values))
    assert set(states(verdicts[case.steps :])) == {CANNOT_TELL}


@pytest.mark.parametrize(
    ("make", "key", "function", "limit", "unit"),
    [
        (OvervoltageRule, "overvoltage", "59", 3.60, "V"),
        (OvervoltageHighSetRule, "overvoltage_high_set", "59", 3.63, "V"),
        (UndervoltageRule, "undervoltage", "27", 2.5, "V"),
        (OvercurrentRule, "overcurrent", "76", 130.0, "A"),
        (ReverseCurrentRule, "reverse_current", "32", -3.0, "A"),
    ],
)
def test_says_who_it_is(
    hut_settings: SupervisorSettings, make: Any, key: str, function: str, limit: float, unit: str
) -> None:
    """Function numbers: IEEE C37.2."""
    rule = make(hut_settings)
    verdict = rule.judge(cycle(0.0), 0.0)
    assert (rule.key, rule.function) == (key, function)
    assert (verdict.rule, verdict.limit, verdict.unit) == (key, limit, unit)


def test_reasons_are_sentences_with_numbers(hut_settings: SupervisorSettings) -> None:
    over = feed(OvervoltageRule(hut_settings), windows("front", [3.612] * 10))[7]
    assert over.reason == "front cell 3.612 V is above 3.600 V for 0.9 s"
    back = feed(ReverseCurrentRule(hut_settings), windows("amperes", [-30.0] * 10))[9]
    assert back.reason.startswith("current -30.0 A is below -3.0 A for 1.1 s")
    assert "sense wires are swapped" in back.reason


def test_the_highest_cell_counts_whichever_it_is(hut_settings: SupervisorSettings) -> None:
    """The cells take turns over the limit: the bank is over it all the time."""
    rule = OvervoltageRule(hut_settings)
    steps = [
        (k / 8, {"front": 3.61, "far": 3.40} if k % 2 else {"front": 3.40, "far": 3.62})
        for k in range(9)
    ]
    verdicts = feed(rule, steps)
    assert states(verdicts) == [TIMING] * 8 + [TRIP]
    assert [v.measured for v in verdicts[-2:]] == [3.61, 3.62]


def test_one_cell_past_the_limit_trips_though_the_other_cannot_tell(
    hut_settings: SupervisorSettings,
) -> None:
    steps = [(k / 8, {"front": 3.61, "far": BAD}) for k in range(9)]
    verdicts = feed(OvervoltageRule(hut_settings), steps)
    assert states(verdicts) == [CANNOT_TELL] * 8 + [TRIP]


def test_far_cell_need_not_be_fitted(hut_settings: SupervisorSettings) -> None:
    rule = OvervoltageRule(without_far_cell(hut_settings))
    assert rule.judge(cycle(0.0, far=None), 0.0).state is CLEAR


def test_a_fitted_channel_that_is_missing_cannot_tell(hut_settings: SupervisorSettings) -> None:
    assert OvervoltageRule(hut_settings).judge(cycle(0.0, far=None), 0.0).state is CANNOT_TELL
    assert (
        OvervoltageHighSetRule(hut_settings).judge(cycle(0.0, far=None), 0.0).state is CANNOT_TELL
    )


def test_before_the_first_window_it_cannot_tell(hut_settings: SupervisorSettings) -> None:
    verdict = OvervoltageRule(hut_settings).judge(cycle(0.0, means="none yet", new=False), 0.0)
    assert verdict.state is CANNOT_TELL


def test_between_windows_the_last_verdict_stands(hut_settings: SupervisorSettings) -> None:
    """However long no window closes: a delay is over with a new window only."""
    rule = OvervoltageRule(hut_settings)
    over = {FRONT: reading(FRONT, 3.61, 0.0), FAR: reading(FAR, 3.61, 0.0)}
    first = rule.judge(cycle(0.0, means=over), 0.0)
    for k in range(1, 700):
        assert rule.judge(cycle(k * CYCLE_S, means=over, new=False), k * CYCLE_S) is first
    for k in range(3):
        last = rule.judge(cycle(10.0 + k / 10, means=over), 10.0 + k / 10)
    assert last.state is TRIP


def test_single_conversions_do_not_reach_a_window_rule(hut_settings: SupervisorSettings) -> None:
    mean = {channel: reading(channel, 3.4, 0.0) for channel in (FRONT, FAR, SHUNT)}
    rule = OvervoltageRule(hut_settings)
    for k in range(100):
        assert rule.judge(cycle(k / 8, front=4.0, means=mean), k / 8).state is CLEAR


def test_high_set_acts_on_conversions_whatever_the_windows_say(
    hut_settings: SupervisorSettings,
) -> None:
    rule = OvervoltageHighSetRule(hut_settings)
    steps = [(k * CYCLE_S, {"front": 3.64, "means": "none yet", "new": False}) for k in range(2)]
    assert states(feed(rule, steps)) == [TIMING, TRIP]


def test_one_high_conversion_alone_does_not_trip(hut_settings: SupervisorSettings) -> None:
    rule = OvervoltageHighSetRule(hut_settings)
    values = [3.5, 4.0, 3.5, 3.5] * 50
    assert TRIP not in states(feed(rule, windows("front", values, CYCLE_S)))


def test_voltage_that_falls_when_the_current_stops_ends_the_trip_of_the_rule(
    hut_settings: SupervisorSettings,
) -> None:
    """In the field the relay chattered: here the verdict follows the voltage, and only the lockout
    latches. No rule asks for closing."""
    verdicts = feed(OvervoltageRule(hut_settings), windows("front", [3.61] * 9 + [3.45] * 5))
    assert states(verdicts)[8:] == [TRIP, TRIP, CLEAR, CLEAR, CLEAR, CLEAR]


def test_no_number_is_no_reading(hut_settings: SupervisorSettings) -> None:
    for what in ({"front": float("nan")}, {"far": float("nan")}):
        for rule in (OvervoltageRule(hut_settings), OvervoltageHighSetRule(hut_settings)):
            assert rule.judge(cycle(0.0, **what), 0.0).state is CANNOT_TELL


volts = st.one_of(st.floats(3.5, 3.7), st.sampled_from([BAD]))
rises = st.floats(0.0, 0.2)


@pytest.mark.parametrize("make", [OvervoltageRule, OvervoltageHighSetRule])
@given(steps=st.lists(st.tuples(volts, volts, rises), max_size=30))
def test_higher_voltages_never_turn_a_trip_into_anything_else(
    hut_settings: SupervisorSettings, make: Any, steps: list[tuple[Value, Value, float]]
) -> None:
    lower, higher = make(hut_settings), make(hut_settings)

    def raised(value: Value, by: float) -> Value:
        return value if isinstance(value, Quality) else value + by

    for k, (front, far, by) in enumerate(steps):
        at_s = k / 4
        tripped = lower.judge(cycle(at_s, front=front, far=far), at_s).state is TRIP
        now = higher.judge(cycle(at_s, front=raised(front, by), far=raised(far, by)), at_s)
        assert now.state is TRIP or not tripped
