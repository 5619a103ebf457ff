"""Isolated plausible wrong readings move no mean; what really moves does."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.measurement.mains_window import OUTLIER_V, MainsWindow

STEP_S = 0.1 / 7


def mean_of(values: list[float]) -> float | None:
    window = MainsWindow(7, OUTLIER_V)
    for k, value in enumerate(values):
        window.add((k - 0.5) * STEP_S, value)
    closed = window.close(0.0, 0.1)
    return None if closed is None else closed.mean


@pytest.mark.parametrize("wrong_v", [1.8, 2.9, 4.0])
@pytest.mark.parametrize("position", range(9))
def test_one_wrong_reading_among_good_ones_changes_nothing(wrong_v: float, position: int) -> None:
    """A bit that flipped, a lead that jumped: plausible, alone, and far from all others."""
    values = [3.601] * 9
    values[position] = wrong_v
    assert mean_of(values) == pytest.approx(3.601, abs=1e-9)


@given(noise=st.lists(st.floats(-0.02, 0.02), min_size=9, max_size=9))
def test_noise_and_ripple_are_averaged_not_cut(noise: list[float]) -> None:
    values = [3.5 + n for n in noise]
    plain = MainsWindow(7)
    for k, value in enumerate(values):
        plain.add((k - 0.5) * STEP_S, value)
    closed = plain.close(0.0, 0.1)
    assert closed is not None
    assert mean_of(values) == pytest.approx(closed.mean, abs=1e-12)


def test_many_wrong_readings_give_no_mean_at_all() -> None:
    assert mean_of([3.6, 1.8, 3.6, 1.8, 3.6, 1.8, 3.6, 1.8, 3.6]) is None


def test_a_real_jump_is_followed_by_the_next_window() -> None:
    window = MainsWindow(7, OUTLIER_V)
    means = []
    for k in range(28):
        window.add(k * STEP_S + 0.001, 3.50 if k < 10 else 3.62)
        if k % 7 == 0 and k:
            closed = window.close((k // 7 - 1) * 0.1, k // 7 * 0.1)
            means.append(closed and closed.mean)
    assert means[0] == pytest.approx(3.50)
    assert means[-1] == pytest.approx(3.62)
