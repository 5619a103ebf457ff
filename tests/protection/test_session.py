"""The three limits of a session: hours closed, ampere-hours in, hours of hold.

The bookkeeping behind them (gaps, restarts, where a session ends): test_session_count.py.
"""

from collections.abc import Callable
from math import nan, nextafter
from typing import Any, NamedTuple

import pytest
from cycles import (
    CANNOT_TELL,
    CLEAR,
    TIMING,
    TRIP,
    Value,
    cycle,
    told_closed,
    told_open,
    with_rule,
    without_far_cell,
)
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.rules.session_charge import SessionChargeRule
from supervisor.protection.rules.session_hold import SessionHoldRule
from supervisor.protection.rules.session_time import SessionTimeRule
from supervisor.protection.session_rule import SessionRule
from supervisor.protection.verdict import Remembers, Verdict
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings

HOUR_S = 3600.0
TOO_FEW = Quality.TOO_FEW


class Case(NamedTuple):
    """A rule and what makes it count ``per_hour`` in its unit."""

    make: Callable[[SupervisorSettings], SessionRule]
    key: str
    limit_key: str
    limit: float
    unit: str
    counts: dict[str, Value]
    per_hour: float
    said: str
    remedy: str  # its first words


CASES = [
    Case(SessionTimeRule, "session_time", "trip_hours", 120.0, "h", {}, 1.0, "closed for",
         "find out why the charge does not end"),
    Case(SessionChargeRule, "session_charge", "trip_ampere_hours", 8960.0, "Ah",
         {"amperes": 50.0}, 50.0, "charged",
         "do not charge on before you know where the charge went"),
    Case(SessionHoldRule, "session_hold", "trip_hours", 24.0, "h",
         {"front": 3.55}, 1.0, "held above 3.500 V for",
         "turn the knob down and let the bank rest"),
]  # fmt: skip
table = pytest.mark.parametrize("case", CASES, ids=[case.key for case in CASES])


def hours(
    rule: SessionRule, count: float, from_s: float = 0.0, **what: Any
) -> tuple[Verdict, float]:
    """Closed for so many hours, a window a minute (to the rule a gap: its neighbours are the
    same). The last verdict, and when."""
    closed = told_closed(from_s)
    verdict = rule.judge(cycle(from_s, new=False, contactor=closed), from_s)
    for k in range(1, round(count * 60) + 1):
        now_s = from_s + k * 60.0
        verdict = rule.judge(cycle(now_s, contactor=closed, **what), now_s)
    return verdict, from_s + count * HOUR_S


def opened(rule: SessionRule, at_s: float) -> Verdict:
    return rule.judge(cycle(at_s, contactor=told_open(at_s)), at_s)


def recalled(rule: SessionRule, counted: float) -> SessionRule:
    rule.recall({"counted": counted, "is_whole": 1.0, "is_used_up": 0.0}, 0.0, is_whole=True)
    return rule


@table
def test_says_who_it_is(hut_settings: SupervisorSettings, case: Case) -> None:
    """No number in IEEE C37.2."""
    rule = case.make(hut_settings)
    verdict = opened(rule, 0.0)
    assert (rule.key, rule.function, verdict.rule) == (case.key, "", case.key)
    assert (verdict.limit, verdict.unit, verdict.measured) == (case.limit, case.unit, 0.0)
    assert rule.remedy.startswith(case.remedy)
    assert isinstance(rule, Remembers)


@table
def test_counts_while_closed_and_forecasts(hut_settings: SupervisorSettings, case: Case) -> None:
    verdict, _ = hours(case.make(hut_settings), 2, **case.counts)
    assert verdict.state is CLEAR
    assert verdict.since_s is None
    assert verdict.measured == pytest.approx(2 * case.per_hour)
    assert verdict.left_s == pytest.approx((case.limit / case.per_hour - 2) * HOUR_S)
    digits = 2 if case.unit == "h" else 1
    assert verdict.reason == (
        f"{case.said} {2 * case.per_hour:.{digits}f} {case.unit} of {case.limit:.{digits}f} "
        f"{case.unit} in this session"
    )


@table
def test_while_open_it_is_clear_and_says_what_was_counted(
    hut_settings: SupervisorSettings, case: Case
) -> None:
    rule = case.make(with_rule(hut_settings, case.key, **{case.limit_key: 1.99 * case.per_hour}))
    tripped, at_s = hours(rule, 2, **case.counts)
    assert tripped.state is TRIP
    for later_s in (0.0, 0.1, 100.0, 1e6):
        verdict = rule.judge(
            cycle(at_s + later_s, contactor=told_open(at_s), **case.counts), at_s + later_s
        )
        assert (verdict.state, verdict.since_s, verdict.left_s) == (CLEAR, None, None)
        assert verdict.measured == pytest.approx(2 * case.per_hour)
        assert verdict.reason.startswith(f"the contactor is open, {case.said} ")


@table
def test_nothing_counts_while_open(hut_settings: SupervisorSettings, case: Case) -> None:
    rule = case.make(hut_settings)
    for k in range(100):
        contactor = told_open(0.0)
        verdict = rule.judge(cycle(k * 60.0, contactor=contactor, **case.counts), k * 60.0)
    assert verdict.measured == 0.0


@table
def test_timing_in_the_last_tenth_then_trips(hut_settings: SupervisorSettings, case: Case) -> None:
    """A limit of ten hours' worth: timing from nine hours on, since then."""
    rule = case.make(with_rule(hut_settings, case.key, **{case.limit_key: 10 * case.per_hour}))
    clear, at_s = hours(rule, 8.9, **case.counts)
    opened(rule, at_s)
    timing, at_s = hours(rule, 1.0, from_s=at_s, **case.counts)
    assert (clear.state, timing.state) == (CLEAR, TIMING)
    assert timing.since_s == pytest.approx(9 * HOUR_S, abs=61)
    assert timing.left_s == pytest.approx(0.1 * HOUR_S)
    opened(rule, at_s)
    tripped, _ = hours(rule, 0.2, from_s=at_s, **case.counts)
    assert (tripped.state, tripped.since_s, tripped.left_s) == (TRIP, timing.since_s, 0.0)
    assert tripped.measured == pytest.approx(10.1 * case.per_hour)
    assert tripped.reason.endswith(f"{case.unit} in this session: that is the limit")


@table
def test_exactly_at_the_limit(hut_settings: SupervisorSettings, case: Case) -> None:
    for counted, state in (
        (case.limit, TRIP),
        (nextafter(case.limit, 0.0), TIMING),
        (0.9 * case.limit, TIMING),
        (nextafter(0.9 * case.limit, 0.0), CLEAR),
    ):
        rule = recalled(case.make(hut_settings), counted)
        verdict = rule.judge(cycle(50.0, new=False, contactor=told_closed(49.0)), 50.0)
        assert verdict.state is state
        assert verdict.since_s == (None if state is CLEAR else 50.0)
        assert verdict.measured == counted


@table
def test_after_its_own_trip_the_next_closing_begins_anew(
    hut_settings: SupervisorSettings, case: Case
) -> None:
    rule = case.make(with_rule(hut_settings, case.key, **{case.limit_key: 1.99 * case.per_hour}))
    _, at_s = hours(rule, 2, **case.counts)
    opened(rule, at_s)
    assert rule.memory(at_s)["is_used_up"] == 1.0
    again, at_s = hours(rule, 1, from_s=at_s + 100, **case.counts)
    assert again.state is CLEAR
    assert again.measured == pytest.approx(case.per_hour)
    opened(rule, at_s)
    more, _ = hours(rule, 0.9, from_s=at_s + 100, **case.counts)
    assert (more.state, more.since_s) == (
        TIMING,
        pytest.approx(at_s + 100 + 0.791 * HOUR_S, abs=61),
    )


@table
def test_a_trip_of_another_rule_ends_no_session(
    hut_settings: SupervisorSettings, case: Case
) -> None:
    rule = case.make(hut_settings)
    for k in range(3):
        _, at_s = hours(rule, 1, from_s=k * 2 * HOUR_S, **case.counts)
        opened(rule, at_s)
    assert opened(rule, at_s).measured == pytest.approx(3 * case.per_hour)


@table
@pytest.mark.parametrize(("open_hours", "sessions"), [(2.999, 1), (3.0, 2)])
def test_open_for_as_long_as_the_settings_say_ends_a_session(
    hut_settings: SupervisorSettings, case: Case, open_hours: float, sessions: int
) -> None:
    three = hut_settings.session.model_copy(update={"new_after_open_hours": 3.0})
    rule = case.make(hut_settings.model_copy(update={"session": three}))
    _, at_s = hours(rule, 1, **case.counts)
    opened(rule, at_s)
    verdict, _ = hours(rule, 1, from_s=at_s + open_hours * HOUR_S, **case.counts)
    assert verdict.measured == pytest.approx((2 if sessions == 1 else 1) * case.per_hour)


@table
def test_what_is_not_known_is_said(hut_settings: SupervisorSettings, case: Case) -> None:
    rule = case.make(hut_settings)
    rule.recall(None, 0.0, is_whole=False)
    lost = "in this session; what was not counted comes on top"
    assert opened(rule, 1.0).reason.endswith(lost)
    assert hours(rule, 1, from_s=2.0, **case.counts)[0].reason.endswith(lost)


@table
def test_between_windows_nothing_is_counted(hut_settings: SupervisorSettings, case: Case) -> None:
    rule = case.make(hut_settings)
    verdict, at_s = hours(rule, 1, **case.counts)
    for k in range(1, 100):
        readings = cycle(at_s + k, new=False, contactor=told_closed(0.0), **case.counts)
        assert rule.judge(readings, at_s + k) == verdict


@table
def test_before_the_first_window_nothing_is_counted(
    hut_settings: SupervisorSettings, case: Case
) -> None:
    """``new`` without a window cannot be; it must not fail."""
    readings = cycle(9.0, means="none yet", contactor=told_closed(0.0), **case.counts)
    verdict = case.make(hut_settings).judge(readings, 9.0)
    assert (verdict.state, verdict.measured, verdict.left_s) == (CLEAR, 0.0, None)


def test_time_goes_on_whatever_is_measured(hut_settings: SupervisorSettings) -> None:
    what = {"front": TOO_FEW, "far": TOO_FEW, "amperes": TOO_FEW}
    verdict, _ = hours(SessionTimeRule(hut_settings), 2, **what)
    assert (verdict.state, verdict.measured) == (CLEAR, pytest.approx(2.0))


UNKNOWN = [
    (SessionChargeRule, {"amperes": TOO_FEW}, "current: too few"),
    (SessionChargeRule, {"amperes": nan}, "current: good"),
    (SessionHoldRule, {"front": TOO_FEW}, "front cell: too few"),
    (SessionHoldRule, {"far": TOO_FEW}, "far cell: too few"),
    (SessionHoldRule, {"far": None}, "far cell: no answer"),
    (SessionHoldRule, {"far": nan}, "far cell: good"),
]


@pytest.mark.parametrize(("make", "what", "flaw"), UNKNOWN)
def test_a_bad_window_cannot_tell_until_the_next_good_one(
    hut_settings: SupervisorSettings, make: Any, what: dict[str, Any], flaw: str
) -> None:
    rule = make(hut_settings)
    contactor = told_closed(0.0)
    rule.judge(cycle(0.125, contactor=contactor), 0.125)
    bad = rule.judge(cycle(0.25, contactor=contactor, **what), 0.25)
    assert (bad.state, bad.left_s, bad.since_s) == (CANNOT_TELL, None, None)
    assert bad.reason == f"no good reading, {flaw}"
    assert rule.judge(cycle(0.26, new=False, contactor=contactor), 0.26).state is CANNOT_TELL
    assert rule.judge(cycle(0.375, contactor=contactor), 0.375).state is CLEAR


@pytest.mark.parametrize(("make", "what", "flaw"), UNKNOWN)
def test_a_bad_window_is_forgotten_with_the_opening(
    hut_settings: SupervisorSettings, make: Any, what: dict[str, Any], flaw: str
) -> None:
    rule = make(hut_settings)
    bad = rule.judge(cycle(0.125, contactor=told_closed(0.0), **what), 0.125)
    assert flaw in bad.reason
    assert opened(rule, 1.0).state is CLEAR
    readings = cycle(2.01, new=False, contactor=told_closed(2.0))
    assert rule.judge(readings, 2.01).state is CLEAR


def test_a_bad_window_clears_no_trip(hut_settings: SupervisorSettings) -> None:
    rule = recalled(SessionChargeRule(hut_settings), 8960.0)
    readings = cycle(0.125, amperes=TOO_FEW, contactor=told_closed(0.0))
    assert rule.judge(readings, 0.125).state is TRIP


def test_current_that_is_not_known_counts_with_the_larger_neighbour(
    hut_settings: SupervisorSettings,
) -> None:
    rule = SessionChargeRule(hut_settings)
    contactor = told_closed(0.0)
    for k, amperes in enumerate([40.0, TOO_FEW, TOO_FEW, TOO_FEW, 80.0], start=1):
        at_s = k / 8
        verdict = rule.judge(cycle(at_s, amperes=amperes, contactor=contactor), at_s)
    assert verdict.measured == pytest.approx((40 / 8 + 80 * 4 / 8) / HOUR_S)


def test_what_flows_back_makes_no_room(hut_settings: SupervisorSettings) -> None:
    rule = SessionChargeRule(hut_settings)
    _, at_s = hours(rule, 1, amperes=50.0)
    opened(rule, at_s)
    verdict, _ = hours(rule, 1, from_s=at_s, amperes=-50.0)
    assert (verdict.measured, verdict.left_s) == (pytest.approx(50.0), None)


HELD = [
    ({"front": 3.5, "far": 3.5}, 0.0),
    ({"front": nextafter(3.5, 4.0)}, 1.0),
    ({"far": nextafter(3.5, 4.0)}, 1.0),
    ({"front": 3.55, "far": TOO_FEW}, 1.0),
    ({"front": TOO_FEW, "far": 3.55}, 1.0),
]


@pytest.mark.parametrize(("what", "hours_held"), HELD)
def test_one_cell_above_is_the_hold(
    hut_settings: SupervisorSettings, what: dict[str, Any], hours_held: float
) -> None:
    verdict, _ = hours(SessionHoldRule(hut_settings), 1, **what)
    assert (verdict.state, verdict.measured) == (CLEAR, pytest.approx(hours_held))
    assert (verdict.left_s is None) is (hours_held == 0)


def test_the_far_cell_need_not_be_fitted(hut_settings: SupervisorSettings) -> None:
    rule = SessionHoldRule(without_far_cell(hut_settings))
    assert hours(rule, 1, front=3.55, far=None)[0].measured == pytest.approx(1.0)


@given(
    st.lists(
        st.tuples(st.one_of(st.floats(-20, 200), st.just(TOO_FEW)), st.booleans()), max_size=40
    )
)
def test_a_restart_changes_nothing_but_the_place(
    hut_settings: SupervisorSettings, steps: list[tuple[Value, bool]]
) -> None:
    """Opened between any two closings, with or without a restart: the same is counted."""
    through, again = SessionChargeRule(hut_settings), SessionChargeRule(hut_settings)
    for k, (amperes, restart) in enumerate(steps):
        at_s = k * 2.0
        for now_s in (at_s + 0.125, at_s + 0.25):
            readings = cycle(now_s, amperes=amperes, contactor=told_closed(at_s))
            counted = [rule.judge(readings, now_s).measured for rule in (through, again)]
        opened(through, at_s + 0.5), opened(again, at_s + 0.5)
        if restart:
            memory, again = again.memory(at_s + 0.5), SessionChargeRule(hut_settings)
            again.recall(memory, at_s + 0.5, is_whole=True)
        assert counted[0] == counted[1]
