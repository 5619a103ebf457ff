"""From all rules' verdicts to one decision: permission, trip, and its name."""

from dataclasses import replace

import pytest
from cycles import (
    CANNOT_TELL,
    CLEAR,
    CYCLE_S,
    GOOD,
    TIMING,
    TRIP,
    Value,
    cycle,
    told_closed,
    told_open,
    without_far_cell,
)
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.decision import Decision, Protection
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import ContactorState, Quality
from supervisor.settings.model import SupervisorSettings

# What a single conversion can be; only a window can have too few.
UNBELIEVABLE = [quality for quality in Quality if quality not in (GOOD, Quality.TOO_FEW)]


class Says:
    """A rule that says what it is told to."""

    function = "74"
    remedy = "none"

    def __init__(self, key: str, state: State | Exception) -> None:
        self.key = key
        self.state = state

    def judge(self, *_: object) -> Verdict:
        if isinstance(self.state, Exception):
            raise self.state
        return Verdict(self.key, self.state, None, 1.0, "V", None, f"{self.key} says so")


@pytest.fixture
def protection(hut_settings: SupervisorSettings) -> Protection:
    return Protection(hut_settings)


def saying(settings: SupervisorSettings, **says: State | Exception) -> Protection:
    protection = Protection(settings)
    protection.rules = [Says(key, state) for key, state in says.items()]
    return protection


def judge(protection: Protection, now_s: float = 0.0) -> Decision:
    return protection.judge(cycle(now_s), now_s)


@pytest.mark.parametrize(
    ("first", "second", "permit", "trip"),
    [
        (CLEAR, CLEAR, True, None),
        (CLEAR, TIMING, True, None),
        (TIMING, TIMING, True, None),
        (CLEAR, CANNOT_TELL, False, None),
        (CANNOT_TELL, CLEAR, False, None),
        (TRIP, CLEAR, False, "first"),
        (CLEAR, TRIP, False, "second"),
        (TRIP, TRIP, False, "first"),
        (CANNOT_TELL, TRIP, False, "second"),
    ],
)
def test_truth_table(
    hut_settings: SupervisorSettings, first: State, second: State, permit: bool, trip: str | None
) -> None:
    decision = judge(saying(hut_settings, first=first, second=second))
    assert decision.permit is permit
    assert (decision.trip.rule if decision.trip else None) == trip
    assert [v.rule for v in decision.verdicts] == ["first", "second"]


def test_a_rule_that_fails_has_not_said_clear(hut_settings: SupervisorSettings) -> None:
    decision = judge(saying(hut_settings, good=CLEAR, broken=ZeroDivisionError("by nought")))
    assert not decision.permit
    assert decision.verdicts[1].state is CANNOT_TELL
    assert "ZeroDivisionError: by nought" in decision.verdicts[1].reason


@pytest.mark.parametrize("doubt", [CANNOT_TELL, KeyError("far_cell")])
def test_cannot_tell_for_longer_than_the_lease_trips(
    hut_settings: SupervisorSettings, doubt: State | Exception
) -> None:
    protection = saying(hut_settings, one=doubt)
    lease_s = hut_settings.lease_s
    early, at_last = judge(protection, 10.0), judge(protection, 9.999 + lease_s)
    late = judge(protection, 10.01 + lease_s)
    assert (early.trip, at_last.trip) == (None, None)
    assert at_last.verdicts[0].since_s == 10.0
    assert late.trip is not None
    assert late.verdicts == (late.trip,)
    assert late.trip.state is TRIP
    assert "could not tell for" in late.trip.reason
    assert late.trip.by_doubt


def test_a_limit_that_is_passed_is_no_doubt_whoever_doubts_beside_it(
    hut_settings: SupervisorSettings,
) -> None:
    protection = saying(hut_settings, doubts=CANNOT_TELL, one=TRIP)
    judge(protection, 0.0)
    late = judge(protection, 60.0)
    assert late.trip is not None
    assert (late.trip.rule, late.trip.by_doubt) == ("one", False)
    doubts = late.trip_of("doubts")
    assert doubts is not None
    assert doubts.by_doubt


def test_doubt_that_is_interrupted_starts_again(hut_settings: SupervisorSettings) -> None:
    protection = saying(hut_settings, one=CANNOT_TELL)
    rule = protection.rules[0]
    assert isinstance(rule, Says)
    for k in range(1000):
        rule.state = CLEAR if k % 10 == 0 else CANNOT_TELL
        assert judge(protection, k * CYCLE_S).trip is None


def test_of_several_in_doubt_the_one_that_knows_why_names_it(
    hut_settings: SupervisorSettings,
) -> None:
    doubts = {"overvoltage": CANNOT_TELL, "sensing": CANNOT_TELL, "undervoltage": CANNOT_TELL}
    protection = saying(hut_settings, **doubts)
    first = judge(protection, 0.0).doubt
    assert first is not None
    assert first.rule == "sensing"
    trip = judge(protection, 60.0).trip
    assert trip is not None
    assert trip.rule == "sensing"


def test_a_trip_names_itself_before_a_doubt_that_has_lasted(
    hut_settings: SupervisorSettings,
) -> None:
    protection = saying(hut_settings, overvoltage=CANNOT_TELL, sensing=CANNOT_TELL, last=TRIP)
    judge(protection, 0.0)
    trip = judge(protection, 60.0).trip
    assert trip is not None
    assert trip.rule == "last"


def test_all_well_is_permitted(protection: Protection) -> None:
    assert all(protection.judge(cycle(k / 10), k / 10).permit for k in range(1, 100))


def test_not_before_the_first_window(protection: Protection) -> None:
    assert not protection.judge(cycle(0.0, means="none yet", new=False), 0.0).permit


def test_without_a_far_cell(hut_settings: SupervisorSettings) -> None:
    protection = Protection(without_far_cell(hut_settings))
    assert protection.judge(cycle(0.1, far=None), 0.1).permit


@pytest.mark.parametrize("what", ["front", "far", "amperes"])
@pytest.mark.parametrize("quality", UNBELIEVABLE)
def test_a_bad_reading_is_not_permitted_and_its_cause_named(
    protection: Protection, what: str, quality: Quality
) -> None:
    protection.judge(cycle(0.0), 0.0)
    decision = protection.judge(cycle(0.1, **{what: quality}), 0.1)
    assert not decision.permit
    named = decision.trip or decision.doubt
    assert named is not None
    assert named.rule == ("stale" if quality is Quality.NO_ANSWER else "sensing")
    k = 2
    while decision.trip is None:
        decision = protection.judge(cycle(k * CYCLE_S + 0.1, **{what: quality}), k * CYCLE_S + 0.1)
        k += 1
    assert decision.trip.rule == named.rule


volts: st.SearchStrategy[Value] = st.one_of(
    st.floats(2.0, 4.05), st.floats(3.3, 3.5), st.sampled_from(UNBELIEVABLE)
)
amps: st.SearchStrategy[Value] = st.one_of(
    st.floats(-250, 250), st.floats(0, 100), st.sampled_from(UNBELIEVABLE)
)
contactors = st.one_of(
    st.builds(told_closed, st.floats(-10, 10)),
    st.builds(told_open, st.floats(-10, 10), st.sampled_from([True, False, None])),
)
steps = st.lists(
    st.tuples(
        st.floats(-0.5, 1.0), volts, volts, amps, st.booleans(), contactors,
        st.floats(0, 0.5), st.integers(0, 60),
    ),
    max_size=25,
)  # fmt: skip
Step = tuple[float, Value, Value, Value, bool, ContactorState, float, int]


@given(steps)
def test_permission_implies_that_all_is_good(
    hut_settings: SupervisorSettings, steps: list[Step]
) -> None:
    """Whatever comes, in whatever order, even with a clock that jumps."""
    protection, now_s = Protection(hut_settings), 0.0
    for step_s, front, far, amperes, new, contactor, late_s, misses in steps:
        now_s += step_s
        readings = cycle(
            now_s, front=front, far=far, amperes=amperes, new=new, contactor=contactor,
            late_s=late_s, misses=misses,
        )  # fmt: skip
        decision = protection.judge(readings, now_s)
        states = {v.state for v in decision.verdicts}
        assert decision.permit is (states <= {CLEAR, TIMING})
        assert (decision.trip is not None) is (TRIP in states)
        if decision.permit:
            assert all(reading.quality.is_good for reading in readings.scan.values())
            assert late_s <= hut_settings.protection.loop_overrun.trip_late_seconds
        for verdict in decision.verdicts:
            assert verdict.reason
            assert "the rule itself failed" not in verdict.reason
            assert "nan" not in verdict.reason
            assert verdict.measured is None or verdict.measured == verdict.measured


@given(steps)
def test_is_pure(hut_settings: SupervisorSettings, steps: list[Step]) -> None:
    """The same readings at the same times give the same decisions."""
    one, other, now_s = Protection(hut_settings), Protection(hut_settings), 0.0
    for step_s, front, far, amperes, new, contactor, *_ in steps:
        now_s += step_s
        readings = cycle(now_s, front=front, far=far, amperes=amperes, new=new, contactor=contactor)
        assert one.judge(readings, now_s) == other.judge(replace(readings), now_s)
