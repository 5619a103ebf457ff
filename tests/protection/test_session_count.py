"""The bookkeeping of a session: what is counted, what a gap counts for, when a session ends.

Published check values of the trapezoid: 100 A exp(-t / 900 s) over an hour are exactly
24.54210903 Ah, its relative error is dt^2 / (12 tau^2).
"""

from math import exp, inf, nan, nextafter
from typing import Any

import pytest
from cycles import told_closed, told_open
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.session import SessionCount

HOUR_S = 3600.0
NEW_AFTER_S = 6 * HOUR_S


def session(window_s: float = 0.125) -> SessionCount:
    return SessionCount(NEW_AFTER_S, window_s)


def closed(at_s: float = 0.0, window_s: float = 0.125) -> SessionCount:
    started = session(window_s)
    assert started.follow(told_closed(at_s)) is True
    return started


def an_hour(count: SessionCount, rate: float, from_s: float) -> None:
    """Closed for an hour at a constant rate, then opened."""
    count.follow(told_closed(from_s))
    count.count(rate, from_s + HOUR_S)
    count.follow(told_open(from_s + HOUR_S))


# --- the integral


@pytest.mark.parametrize(("step_s", "error"), [(1, 1.029e-7), (10, 1.029e-5), (60, 3.703e-4)])
def test_trapezoid_of_a_decay(step_s: int, error: float) -> None:
    exact_ah = 100 * 900 * (1 - exp(-4)) / HOUR_S
    assert exact_ah == pytest.approx(24.54210903, rel=1e-9)
    count = closed(window_s=step_s)
    for t in range(0, 3601, step_s):
        count.count(100 * exp(-t / 900), float(t))
    assert count.counted / exact_ah - 1 == pytest.approx(error, rel=1e-3)


def test_a_ramp_is_exact() -> None:
    count = closed(window_s=1.0)
    for t in range(3601):
        count.count(t / 36, float(t))
    assert count.counted == pytest.approx(50.0, rel=1e-12)


@pytest.mark.parametrize(("before", "after"), [(8.0, 20.0), (20.0, 8.0)])
def test_a_gap_counts_with_the_larger_of_its_neighbours(before: float, after: float) -> None:
    count = closed()
    count.count(before, 0.0)
    count.count(after, 9.0)
    assert count.counted == 20.0 * 9.0 / HOUR_S


def test_a_step_of_one_and_a_half_windows_is_no_gap_yet() -> None:
    """0.125 s windows: 0.1875 s is the longest step, exact in binary."""
    for step_s, mean in ((0.1875, 15.0), (nextafter(0.1875, 1.0), 20.0)):
        count = closed()
        count.count(10.0, 0.0)
        count.count(20.0, step_s)
        assert count.counted == pytest.approx(mean * step_s / HOUR_S, rel=1e-12)


@pytest.mark.parametrize("first_s", [0.0625, 0.125, 7.0])
def test_before_the_first_rate_after_a_closing_that_rate_holds(first_s: float) -> None:
    count = closed(100.0)
    count.count(12.0, 100.0 + first_s)
    assert count.counted == 12.0 * first_s / HOUR_S


def test_the_rate_of_the_last_closing_is_forgotten() -> None:
    count = closed()
    count.count(64.0, 0.0)
    count.follow(told_open(0.0))
    count.follow(told_closed(32.0))
    count.count(2.0, 40.0)
    assert count.counted == 2.0 * 8.0 / HOUR_S


def test_up_to_an_opening_the_last_rate_holds() -> None:
    count = closed()
    count.count(12.0, 4.0)
    assert count.follow(told_open(5.0)) is False
    assert count.counted == 12.0 * 5.0 / HOUR_S
    count.follow(told_open(5.0))
    assert count.counted == 12.0 * 5.0 / HOUR_S


def test_closed_without_any_rate_counts_nothing() -> None:
    count = closed()
    count.follow(told_open(5.0))
    assert count.counted == 0.0


def test_a_time_that_goes_back_counts_nothing() -> None:
    count = closed(8.0)
    count.count(12.0, 16.0)
    count.count(99.0, 12.0)
    count.count(12.0, 24.0)
    assert count.counted == 12.0 * 16.0 / HOUR_S


rates = st.one_of(st.none(), st.floats(0.0, 200.0))


@given(st.lists(st.tuples(rates, st.floats(0.0, 50.0)), min_size=1, max_size=30))
def test_lies_between_the_least_and_the_most_and_grows_with_every_rate(
    steps: list[tuple[float | None, float]],
) -> None:
    """A missing rate (None) included: it never counts as less than both beside it."""
    lower, higher = closed(), closed()
    known = [rate for rate, _ in steps if rate is not None]
    counted_to_s = 0.0
    for k, (rate, more) in enumerate(steps, start=1):
        if rate is not None:
            counted_to_s = k / 8
            before = lower.counted
            lower.count(rate, counted_to_s)
            higher.count(rate + more, counted_to_s)
            assert lower.counted >= before
    hours = counted_to_s / HOUR_S
    least, most = min(known, default=0.0) * hours, max(known, default=0.0) * hours
    assert least * (1 - 1e-9) <= lower.counted <= most * (1 + 1e-9)
    assert higher.counted >= lower.counted


# --- the forecast


def test_time_left_at_the_present_rate() -> None:
    count = closed()
    assert count.left_s(100.0) is None
    count.count(40.0, HOUR_S)
    assert count.left_s(100.0) == 60 / 40 * HOUR_S
    assert count.left_s(40.0) == count.left_s(30.0) == 0.0
    count.count(0.0, HOUR_S + 0.125)
    assert count.left_s(100.0) is None
    count.count(1.0, HOUR_S + 0.25)
    count.follow(told_open(HOUR_S + 1))
    assert count.left_s(100.0) is None


# --- where a session ends


def test_a_session_goes_on_over_openings() -> None:
    count = session()
    for k in range(3):
        an_hour(count, 10.0, from_s=k * 2 * HOUR_S)
    assert count.counted == 30.0


def test_open_for_long_ends_it_with_the_next_closing() -> None:
    """Open at 1 h, for six hours: exactly the time that ends a session."""
    for closes_s, counted in ((HOUR_S + NEW_AFTER_S, 0.0), (HOUR_S + NEW_AFTER_S - 0.001, 10.0)):
        count = session()
        an_hour(count, 10.0, from_s=0.0)
        count.follow(told_open(HOUR_S))
        assert count.counted == 10.0, "open for whatever time, it tells what was"
        count.follow(told_closed(closes_s))
        assert count.counted == counted


def test_what_was_used_up_ends_with_the_next_closing() -> None:
    count = session()
    an_hour(count, 10.0, from_s=0.0)
    count.is_used_up, count.is_whole = True, False
    count.follow(told_open(HOUR_S))
    assert count.counted == 10.0
    count.follow(told_closed(HOUR_S + 1))
    assert (count.counted, count.is_used_up, count.is_whole) == (0.0, False, True)


def test_a_second_closing_that_nobody_saw_open_goes_on() -> None:
    """Opened and closed between two looks: how long it was open before the first says nothing."""
    count = session()
    count.follow(told_open(0.0))
    count.follow(told_closed(HOUR_S))
    count.count(10.0, 2 * HOUR_S)
    count.follow(told_closed(50 * HOUR_S))
    count.count(10.0, 51 * HOUR_S)
    assert count.counted == 20.0


# --- over a restart


def restarted(count: SessionCount, *, is_whole: bool = True) -> SessionCount:
    after = session()
    after.recall(count.memory(), is_whole=is_whole)
    return after


def test_a_restart_goes_on_with_the_session() -> None:
    count = session()
    an_hour(count, 10.0, from_s=0.0)
    after = restarted(count)
    after.follow(told_open(5.0))
    an_hour(after, 10.0, from_s=100.0)
    assert (after.counted, after.is_whole) == (20.0, True)


def test_time_open_before_a_restart_is_not_known_and_not_counted() -> None:
    count = session()
    an_hour(count, 10.0, from_s=0.0)
    for opened_s, counted in ((1.0, 10.0), (0.0, 0.0)):
        after = restarted(count)
        after.follow(told_open(opened_s))
        after.follow(told_closed(NEW_AFTER_S))
        assert after.counted == counted


def test_a_used_up_limit_is_remembered() -> None:
    count = session()
    an_hour(count, 10.0, from_s=0.0)
    count.is_used_up = True
    after = restarted(count)
    assert (after.counted, after.is_used_up, after.is_whole) == (10.0, True, True)
    after.follow(told_closed(10.0))
    assert (after.counted, after.is_used_up) == (0.0, False)


def test_a_closing_that_was_lost_is_said_and_stays_said() -> None:
    count = session()
    an_hour(count, 10.0, from_s=0.0)
    after = restarted(count, is_whole=False)
    assert (after.counted, after.is_whole) == (10.0, False)
    assert restarted(after).is_whole is False


def test_a_closing_that_was_lost_had_begun_a_session_when_the_limit_was_used_up() -> None:
    count = session()
    an_hour(count, 10.0, from_s=0.0)
    count.is_used_up = True
    after = restarted(count, is_whole=False)
    assert (after.counted, after.is_used_up, after.is_whole) == (0.0, False, False)
    after.follow(told_closed(10.0))
    assert after.is_whole is False


SOUND = {"counted": 7.0, "is_whole": 1.0, "is_used_up": 0.0}


def test_a_sound_memory_is_taken() -> None:
    count = session()
    count.recall(SOUND, is_whole=True)
    assert count.memory() == SOUND
    count.recall(SOUND | {"counted": 0.0}, is_whole=True)
    assert (count.counted, count.is_whole) == (0.0, True)


@pytest.mark.parametrize(
    "memory",
    [
        None,
        {},
        {"counted": 7.0},
        SOUND | {"more": 1.0},
        SOUND | {"counted": nan},
        SOUND | {"counted": inf},
        SOUND | {"counted": -0.001},
        SOUND | {"is_whole": 2.0},
        SOUND | {"is_used_up": nan},
        SOUND | {"is_used_up": 0.5},
    ],
)
@pytest.mark.parametrize("is_whole", [True, False])
def test_what_is_not_known_or_not_sound_counts_from_zero_and_says_so(
    memory: Any, is_whole: bool
) -> None:
    count = session()
    an_hour(count, 10.0, from_s=0.0)
    count.recall(memory, is_whole=is_whole)
    assert (count.counted, count.is_whole, count.is_used_up) == (0.0, False, False)
