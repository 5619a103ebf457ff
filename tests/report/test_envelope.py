"""Down-sampling for a plot loses no peak, and draws no line over a gap."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from supervisor.report.envelope import envelope
from supervisor.report.series import Band, Floats


def band(values: Floats, spread: float = 0.0) -> Band:
    return Band(values, values - spread, values + spread)


def no_gap(values: Floats) -> np.ndarray:
    return np.zeros(len(values), dtype=bool)


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=400), st.integers(1, 50))
def test_lowest_and_highest_survive(values: list[float], most: int) -> None:
    level = np.array(values)
    thin = envelope(np.arange(len(level), dtype=float), band(level, 0.5), no_gap(level), most)
    assert np.nanmax(thin.band.high) == level.max() + 0.5
    assert np.nanmin(thin.band.low) == level.min() - 0.5
    assert len(thin.at_s) <= max(most, 1)


def test_a_single_high_second_in_two_days_is_drawn_where_it_was() -> None:
    volts = np.full(172_800, 3.4)
    volts[100_000] = 3.61
    thin = envelope(np.arange(172_800.0), band(volts), no_gap(volts), 1200)
    top = int(np.nanargmax(thin.band.high))
    assert thin.band.high[top] == 3.61
    assert abs(thin.at_s[top] - 100_000) <= 144  # a bin's width


def test_few_points_are_drawn_as_they_are() -> None:
    level = np.array([1.0, 3.0, 2.0])
    thin = envelope(np.array([0.0, 1.0, 2.0]), band(level), no_gap(level), 10)
    assert thin.band.mean.tolist() == [1.0, 3.0, 2.0]


def test_the_line_breaks_at_a_gap() -> None:
    level = np.array([1.0, 2.0, 3.0])
    gaps = np.array([False, False, True])
    thin = envelope(np.array([0.0, 1.0, 60.0]), band(level), gaps, 10)
    assert np.isnan(thin.band.mean).tolist() == [False, False, True, False]


def test_the_line_breaks_where_nothing_good_was_read() -> None:
    level = np.array([1.0, np.nan, 3.0])
    thin = envelope(np.array([0.0, 1.0, 2.0]), band(level), no_gap(level), 10)
    assert np.isnan(thin.band.mean).tolist() == [False, True, False]


def test_a_gap_within_a_bin_still_breaks_the_line() -> None:
    level = np.ones(100)
    gaps = no_gap(level)
    gaps[57] = True
    thin = envelope(np.arange(100.0), band(level), gaps, 10)
    assert np.isnan(thin.band.mean).sum() == 1


def test_nothing_known_is_no_point() -> None:
    level = np.array([np.nan, np.nan])
    assert len(envelope(np.array([0.0, 1.0]), band(level), no_gap(level)).at_s) == 0
