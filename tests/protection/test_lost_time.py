"""A bucket of lost seconds, for faults that stay and for faults that come and go."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.lost_time import LostTime

STEP_S = 1 / 64  # exact in binary
LIMIT_S = 0.25


def full_after(every: int, for_s: float = 100.0) -> float | None:
    """Time until full when one cycle in so many is lost."""
    lost = LostTime(LIMIT_S)
    for k in range(int(for_s / STEP_S)):
        if lost.update(k % every == every - 1, k * STEP_S):
            return k * STEP_S
    return None


def test_a_fault_that_stays_fills_it_in_its_limit() -> None:
    lost = LostTime(LIMIT_S)
    assert not lost.update(False, 0.0)
    filled = [lost.update(True, k * STEP_S) for k in range(1, 17)]
    assert filled == [False] * 15 + [True]


def test_every_second_reading_lost_fills_it_in_two_and_a_quarter() -> None:
    assert full_after(2) == pytest.approx(2.25 * LIMIT_S, abs=3 * STEP_S)


@pytest.mark.parametrize("every", [3, 5, 9])
def test_what_comes_and_goes_fills_it_later(every: int) -> None:
    after_s = full_after(every)
    assert after_s is not None
    assert after_s > 2.25 * LIMIT_S


@pytest.mark.parametrize("every", [11, 20, 1000])
def test_isolated_ones_never_do(every: int) -> None:
    assert full_after(every, for_s=2000.0) is None


def test_a_fault_mended_is_forgotten_in_nine_times_its_limit() -> None:
    lost = LostTime(LIMIT_S)
    for k in range(10_000):
        lost.update(True, k * STEP_S)
    lost.update(False, 10_000 * STEP_S + 9 * LIMIT_S)
    start_s = 10_001 * STEP_S + 9 * LIMIT_S
    assert not lost.update(True, start_s + LIMIT_S - 2 * STEP_S)


@given(st.lists(st.tuples(st.booleans(), st.floats(-5, 5)), max_size=30))
def test_time_that_runs_backwards_neither_fills_nor_drains(
    history: list[tuple[bool, float]],
) -> None:
    lost = LostTime(LIMIT_S)
    before_s = None
    for is_lost, now_s in history:
        full = lost.update(is_lost, now_s)
        if before_s is not None and now_s <= before_s:
            assert lost.update(is_lost, now_s) is full
        before_s = now_s
