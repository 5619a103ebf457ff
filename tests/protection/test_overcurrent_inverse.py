"""Overcurrent, inverse time: pick-up 100 A; published times of IEC 60255-151 and IEEE C37.112."""

from math import inf, nan, nextafter
from typing import Any

import pytest
from cycles import (
    CANNOT_TELL,
    CLEAR,
    TIMING,
    TRIP,
    Value,
    cycle,
    feed,
    states,
    told_closed,
    told_open,
    windows,
)
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.rules.overcurrent_inverse import OvercurrentInverseRule
from supervisor.protection.verdict import Verdict
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import OvercurrentInverse

STEP_S = 0.125
BAD = Quality.TOO_FEW
# Seconds at 2 and at 5 times the pick-up, multiplier 1.
OPERATES_S = {
    "iec_standard_inverse": (10.0290, 4.2797),
    "iec_very_inverse": (13.5, 3.375),
    "iec_extremely_inverse": (26.6667, 3.3333),
    "iec_long_time_inverse": (120, 30),
    "ieee_moderately_inverse": (3.8033, 1.6883),
    "ieee_very_inverse": (7.0277, 1.3081),
    "ieee_extremely_inverse": (9.5217, 1.2967),
}


def with_inverse(settings: SupervisorSettings, **changes: Any) -> SupervisorSettings:
    block = OvercurrentInverse(trip_amperes=100, **changes)
    protection = settings.protection.model_copy(update={"overcurrent_inverse": block})
    return settings.model_copy(update={"protection": protection})


@pytest.fixture
def rule(hut_settings: SupervisorSettings) -> OvercurrentInverseRule:
    """IEC very inverse, multiplier 1, kept for 60 s: the defaults."""
    return OvercurrentInverseRule(with_inverse(hut_settings))


def carry(rule: OvercurrentInverseRule, *stretches: tuple[Value, float]) -> list[Verdict]:
    """Currents, each for some seconds, after one window without any."""
    values: list[Value] = [0.0]
    for value, for_s in stretches:
        values += [value] * round(for_s / STEP_S)
    return feed(rule, windows("amperes", values, STEP_S))


def trip_s(verdicts: list[Verdict]) -> float:
    return states(verdicts).index(TRIP) * STEP_S


@pytest.mark.parametrize(
    ("curve", "multiple", "seconds", "stretch"),
    [
        (curve, multiple, seconds, stretch)
        for curve, times in OPERATES_S.items()
        for multiple, seconds in zip((2, 5), times, strict=True)
        for stretch in (1.0, 0.5)
    ],
)
def test_trips_after_the_published_time(
    hut_settings: SupervisorSettings, curve: str, multiple: float, seconds: float, stretch: float
) -> None:
    rule = OvercurrentInverseRule(with_inverse(hut_settings, curve=curve, time_multiplier=stretch))
    verdicts = carry(rule, (100.0 * multiple, seconds + 1))
    assert 0 <= trip_s(verdicts) - seconds * stretch <= STEP_S + 1e-3
    before = states(verdicts)[1 : states(verdicts).index(TRIP)]
    assert set(before) == {TIMING}


def test_what_it_is(rule: OvercurrentInverseRule) -> None:
    assert (rule.key, rule.function) == ("overcurrent_inverse", "76")
    assert rule.remedy.startswith("turn the knob down")


def test_clear_at_the_pickup_timing_just_past_it(rule: OvercurrentInverseRule) -> None:
    (at,) = feed(rule, windows("amperes", [100.0]))
    assert (at.state, at.measured, at.limit, at.unit) == (CLEAR, 100.0, 100.0, "A")
    assert (at.since_s, at.left_s) == (None, None)
    assert at.reason == "not above 100.0 A"
    (past,) = feed(rule, [(1.0, {"amperes": nextafter(100.0, 200)})])
    assert past.state is TIMING
    assert past.reason.startswith("current 100 A is above 100.0 A for 0.0 s: 0 % of the way")


def test_the_first_window_only_begins_to_count(rule: OvercurrentInverseRule) -> None:
    (verdict,) = feed(rule, windows("amperes", [200.0]))
    assert (verdict.state, verdict.measured, verdict.since_s) == (TIMING, 200.0, 0.0)
    assert verdict.left_s == 13.5


def test_timing_tells_how_far_and_how_long(rule: OvercurrentInverseRule) -> None:
    """4 s of 13.5 s at twice the pick-up: 29.6 %."""
    timing = carry(rule, (200.0, 4.0))[-1]
    assert (timing.state, timing.measured, timing.limit) == (TIMING, 200.0, 100.0)
    assert timing.since_s == STEP_S
    assert timing.left_s == pytest.approx(9.5)
    assert timing.reason == (
        "current 200.0 A is above 100.0 A for 3.9 s: 29 % of the way to a trip, 9.5 s remain"
    )


def test_the_trip_tells_the_numbers(rule: OvercurrentInverseRule) -> None:
    tripped = carry(rule, (200.0, 14.0))[-1]
    assert (tripped.state, tripped.measured, tripped.left_s) == (TRIP, 200.0, 0.0)
    assert tripped.since_s == STEP_S
    assert tripped.reason == (
        "current 200.0 A is above 100.0 A for 13.9 s: all its time on the curve is used up"
    )


def test_shares_of_unlike_currents_add_up(rule: OvercurrentInverseRule) -> None:
    """6.75 s are half of the time at 2 times, 1.6875 s half of that at 5 times: 8.4375 s."""
    verdicts = carry(rule, (200.0, 6.75), (500.0, 5.0))
    assert 0 <= trip_s(verdicts) - 8.4375 <= STEP_S


def test_a_reverse_current_heats_as_well(rule: OvercurrentInverseRule) -> None:
    verdicts = carry(rule, (-200.0, 14.0))
    assert verdicts[-1].measured == 200.0
    assert 0 <= trip_s(verdicts) - 13.5 <= STEP_S


# Below the pick-up


def test_iec_keeps_what_has_added_up(rule: OvercurrentInverseRule) -> None:
    """Half of the way, then 59.875 s below: the other half is enough.

    The window of the change counts as the higher one, 0.125 s more above.
    """
    carried = carry(rule, (200.0, 6.75), (100.0, 60.0))
    kept = carried[-1]
    assert (kept.state, kept.since_s, kept.left_s) == (CLEAR, None, None)
    assert kept.reason == "not above 100.0 A, 50 % of the way to a trip not forgotten yet"
    at_s = (len(carried) - 1) * STEP_S
    again = feed(rule, [(at_s + STEP_S * k, {"amperes": 200.0}) for k in range(1, 120)])
    assert again[0].since_s == at_s + STEP_S
    assert 0 <= (states(again).index(TRIP) + 1) * STEP_S - 6.625 <= STEP_S


def test_iec_forgets_after_the_reset_time(rule: OvercurrentInverseRule) -> None:
    """The window of the change still counts as the higher one; 60 s after it all is forgotten."""
    verdicts = carry(rule, (200.0, 6.75), (0.0, 60.0 + STEP_S))
    assert verdicts[-2].reason.endswith("not forgotten yet")
    assert verdicts[-1].reason == "not above 100.0 A"


def test_every_time_above_begins_the_reset_time_anew(rule: OvercurrentInverseRule) -> None:
    verdicts = carry(rule, (200.0, 5.0), (0.0, 50.0), (101.0, 0.25), (0.0, 50.0))
    assert verdicts[-1].reason.endswith("not forgotten yet")


def test_without_a_reset_time_iec_forgets_at_once(hut_settings: SupervisorSettings) -> None:
    rule = OvercurrentInverseRule(with_inverse(hut_settings, reset_seconds=0))
    verdicts = carry(rule, (200.0, 10.0), (0.0, 2 * STEP_S), (200.0, 14.0))
    assert 0 <= trip_s(verdicts) - (10.0 + 2 * STEP_S + 13.5 - STEP_S) <= STEP_S


@pytest.mark.parametrize(("below_a", "resets_s"), [(0.0, 21.6), (50.0, 28.8), (90.0, 21.6 / 0.19)])
@pytest.mark.parametrize("dial", [1.0, 0.5])
def test_ieee_turns_back_by_its_disk(
    hut_settings: SupervisorSettings, below_a: float, resets_s: float, dial: float
) -> None:
    """IEEE C37.112, very inverse: t_r 21.6 s, over 1 - M^2, times the dial."""
    settings = with_inverse(hut_settings, curve="ieee_very_inverse", time_multiplier=dial)
    rule = OvercurrentInverseRule(settings)
    verdicts = carry(rule, (200.0, 2.0), (below_a, 3.0), (200.0, STEP_S))
    one_s = 1 / (dial * 7.0277)  # share of a second at twice the pick-up
    turned_back = (3.0 - STEP_S) / (dial * resets_s)
    share = (2.0 + 2 * STEP_S) * one_s - turned_back
    left_s = verdicts[-1].left_s
    assert left_s == pytest.approx((1 - share) * dial * 7.0277, abs=1e-3)


def test_ieee_comes_to_rest_and_no_further(hut_settings: SupervisorSettings) -> None:
    rule = OvercurrentInverseRule(with_inverse(hut_settings, curve="ieee_very_inverse"))
    verdicts = carry(rule, (200.0, 2.0), (0.0, 100.0), (200.0, STEP_S))
    assert verdicts[-2].reason == "not above 100.0 A"
    assert verdicts[-1].left_s == pytest.approx(7.0277 - STEP_S, abs=1e-3)


def test_ieee_stays_where_it_is_at_the_pickup(hut_settings: SupervisorSettings) -> None:
    rule = OvercurrentInverseRule(with_inverse(hut_settings, curve="ieee_very_inverse"))
    verdicts = carry(rule, (200.0, 3.5), (100.0, 500.0))
    assert verdicts[-1].reason == ("not above 100.0 A, 51 % of the way to a trip not forgotten yet")


# What cannot be told


@pytest.mark.parametrize("bad", [BAD, Quality.CLIPPED, nan, inf, -inf])
def test_without_a_good_current_it_cannot_tell(rule: OvercurrentInverseRule, bad: Value) -> None:
    verdict = carry(rule, (200.0, 1.0), (bad, STEP_S))[-1]
    assert (verdict.state, verdict.measured, verdict.since_s) == (CANNOT_TELL, None, None)
    assert verdict.left_s is None
    assert verdict.reason.startswith("no good reading, current: ")


def test_before_the_first_window_it_cannot_tell(rule: OvercurrentInverseRule) -> None:
    verdict = rule.judge(cycle(0.0, means="none yet"), 0.0)
    assert (verdict.state, verdict.reason) == (
        CANNOT_TELL, "no window of readings is complete yet",
    )  # fmt: skip


@pytest.mark.parametrize(("before", "after"), [(200.0, 150.0), (150.0, 200.0)])
def test_unknown_time_counts_as_the_worse_of_before_and_after(
    rule: OvercurrentInverseRule, before: float, after: float
) -> None:
    """1 s at ``before``, then 2 s that nobody saw, up to the good window that ends them.

    Very inverse: 13.5 / (M - 1) s, so that 1 s takes (M - 1) / 13.5 of the way.
    """
    last = carry(rule, (before, 1.0), (BAD, 2.0 - STEP_S), (after, STEP_S))[-1]
    assert last.left_s == pytest.approx(13.5 - 1.0 * (before / 100 - 1) - 2.0)
    assert last.measured == 200.0


def test_missing_windows_count_as_the_worse_of_before_and_after(
    rule: OvercurrentInverseRule,
) -> None:
    """The loop stood still for 20 s: more than the 13.5 s that twice the pick-up may last."""
    verdicts = feed(rule, [(0.0, {"amperes": 200.0}), (20.0, {"amperes": 50.0})])
    assert states(verdicts) == [TIMING, TRIP]
    assert feed(rule, [(20.1, {"amperes": 50.0})])[0].state is CLEAR


def test_time_that_runs_backwards_counts_as_none(rule: OvercurrentInverseRule) -> None:
    verdicts = feed(rule, [(9.0, {"amperes": 200.0}), (1.0, {"amperes": 200.0})])
    assert [v.left_s for v in verdicts] == [13.5, 13.5]


def test_a_trip_outlasts_a_bad_reading(rule: OvercurrentInverseRule) -> None:
    verdicts = carry(rule, (200.0, 14.0), (BAD, 0.5))
    assert states(verdicts[-4:]) == [TRIP] * 4


def test_between_windows_the_last_verdict_stands(rule: OvercurrentInverseRule) -> None:
    last = carry(rule, (200.0, 1.0))[-1]
    assert rule.judge(cycle(50.0, amperes=0.0, new=False), 50.0) is last


# Open


def opened(
    rule: OvercurrentInverseRule, value: Value, from_s: float, for_s: float
) -> list[Verdict]:
    ways = {"amperes": value, "contactor": told_open(from_s)}
    return feed(rule, [(from_s + k * STEP_S, ways) for k in range(1, round(for_s / STEP_S) + 1)])


@pytest.mark.parametrize("value", [0.0, 0.4, -0.4, BAD, nan])
def test_open_it_is_clear_and_forgets(rule: OvercurrentInverseRule, value: Value) -> None:
    """Measured or not: no current. Reset and closing need not wait for what it remembers."""
    carry(rule, (200.0, 14.0))
    verdicts = opened(rule, value, 14.0, 60.0 + STEP_S)
    assert states(verdicts[1:]) == [CLEAR] * (len(verdicts) - 1)
    assert verdicts[-2].reason.startswith("not above 100.0 A, 100 % of the way")
    assert verdicts[-1].reason == "not above 100.0 A"


def test_open_before_the_first_window_it_is_clear(rule: OvercurrentInverseRule) -> None:
    readings = cycle(0.0, means="none yet", contactor=told_open(-9.0))
    assert rule.judge(readings, 0.0).state is CLEAR


def test_closed_again_too_soon_it_trips_at_once(rule: OvercurrentInverseRule) -> None:
    """What has added up is no more than a trip, and is kept for 60 s after it, open or closed."""
    carry(rule, (200.0, 30.0))
    opened(rule, 0.0, 30.0, 59.0)
    closed = {"contactor": told_closed(89.0)}
    verdicts = feed(
        rule,
        [(89.5, {"amperes": 90.0, **closed}), (89.625, {"amperes": 101.0, **closed})],
    )
    assert states(verdicts) == [CLEAR, TRIP]


def test_a_contactor_that_failed_to_open_goes_on_counting(rule: OvercurrentInverseRule) -> None:
    carry(rule, (200.0, 10.0))
    assert opened(rule, 200.0, 10.0, 4.0)[-1].state is TRIP


# Invariants

known = st.floats(-600, 600)
series = st.lists(st.tuples(known | st.none(), st.floats(0, 300)), min_size=1, max_size=40)


@given(series=series, curve=st.sampled_from(sorted(OPERATES_S)), gap_s=st.floats(0.1, 5))
def test_more_current_never_trips_later(
    hut_settings: SupervisorSettings,
    series: list[tuple[float | None, float]],
    curve: str,
    gap_s: float,
) -> None:
    """The same windows, each with more current, some of them unknown in both."""
    settings = with_inverse(hut_settings, curve=curve, time_multiplier=0.3, reset_seconds=4)
    less: list[Value | None] = [BAD if amperes is None else amperes for amperes, _ in series]
    more: list[Value | None] = [
        BAD if amperes is None else abs(amperes) + extra for amperes, extra in series
    ]
    tripped_less, tripped_more = (
        TRIP in states(feed(OvercurrentInverseRule(settings), windows("amperes", values, gap_s)))
        for values in (less, more)
    )
    assert tripped_more or not tripped_less


@given(
    amperes=st.floats(101, 600),
    cuts=st.lists(st.floats(0.01, 2), min_size=1, max_size=30),
)
def test_uneven_windows_add_up_to_the_same(
    hut_settings: SupervisorSettings, amperes: float, cuts: list[float]
) -> None:
    settings = with_inverse(hut_settings, curve="iec_long_time_inverse", time_multiplier=10)
    times_s = [sum(cuts[:k]) for k in range(len(cuts) + 1)]
    in_pieces = OvercurrentInverseRule(settings)
    pieces = feed(in_pieces, [(at_s, {"amperes": amperes}) for at_s in times_s])
    in_one = OvercurrentInverseRule(settings)
    one = feed(in_one, [(at_s, {"amperes": amperes}) for at_s in (0.0, times_s[-1])])
    assert pieces[-1].left_s == pytest.approx(one[-1].left_s, rel=1e-9)
