"""Least-squares slope. Published check values: noise sigma sqrt(12 / (n (n^2 - 1))) / dt, and the
norms of scipy.signal.savgol_coeffs(n, 1, deriv=1)."""

from math import hypot, sqrt

import pytest
import scipy.signal
import scipy.stats
from hypothesis import assume, given
from hypothesis import strategies as st

from supervisor.protection.slope import Fit, SlidingSlope


def fit_of(points: list[tuple[float, float]], over_s: float = 1e6) -> Fit:
    slope = SlidingSlope(over_s)
    for t, v in points:
        slope.add(t, v)
    fit = slope.fit()
    assert fit is not None
    return fit


def pure_noise(n: int, rms: float) -> list[float]:
    """A sequence with no mean and no slope, so that all of it is residual: rms over n - 2."""
    u = [(-1.0) ** k for k in range(n)]
    middle = (n - 1) / 2
    squares = sum((k - middle) ** 2 for k in range(n))
    mean = sum(u) / n
    tilt = sum((k - middle) * x for k, x in enumerate(u)) / squares
    rest = [x - mean - tilt * (k - middle) for k, x in enumerate(u)]
    scale = rms / sqrt(sum(x * x for x in rest) / (n - 2))
    return [scale * x for x in rest]


@pytest.mark.parametrize(("n", "sigma"), [(10, 1.100964e-4), (60, 7.454595e-6)])
def test_noise_of_the_slope(n: int, sigma: float) -> None:
    """1 mV of noise, a point a second."""
    noise = pure_noise(n, rms=0.001)
    fit = fit_of([(float(k), 3.4 + 0.002 * k + noise[k]) for k in range(n)])
    assert fit.slope == pytest.approx(0.002, abs=1e-9)
    assert fit.sigma == pytest.approx(sigma, rel=1e-5)


@pytest.mark.parametrize(("n", "norm"), [(5, 0.3162278), (11, 0.0953463), (61, 0.00727201)])
def test_weights_are_those_of_savitzky_and_golay(n: int, norm: float) -> None:
    """What the slope makes of a single 1 among zeros is that point's weight."""
    weights = [fit_of([(float(k), float(k == i)) for k in range(n)]).slope for i in range(n)]
    library = scipy.signal.savgol_coeffs(n, 1, deriv=1)[::-1]
    assert weights == pytest.approx(list(library), abs=1e-12)
    assert hypot(*weights) == pytest.approx(norm, rel=1e-6)


@given(
    st.lists(
        st.tuples(st.integers(1, 10**6), st.integers(-(10**9), 10**9)), min_size=3, max_size=30
    )
)
def test_agrees_with_scipy(steps: list[tuple[int, int]]) -> None:
    assume(len({value for _, value in steps}) > 1)  # of a constant, scipy knows no noise
    t, points = 0, []
    for step_us, nanovolts in steps:
        t += step_us
        points.append((t / 1e6, nanovolts / 1e9))
    ours = fit_of(points)
    theirs = scipy.stats.linregress([p[0] for p in points], [p[1] for p in points])
    scale = max(abs(theirs.slope), theirs.stderr, 1e-6)
    assert ours.slope == pytest.approx(theirs.slope, abs=1e-6 * scale)
    assert ours.sigma == pytest.approx(theirs.stderr, abs=1e-4 * scale)


def test_keeps_the_last_stretch_only() -> None:
    """Falling for long, then rising for ten seconds: the slope is the rise."""
    points = [(k / 10, 3.5 - k / 1000) for k in range(1000)]
    points += [(100 + k / 10, 3.4 + k / 500) for k in range(101)]
    assert fit_of(points, over_s=10.0) == pytest.approx((0.02, 0.0), abs=1e-8)


def test_does_not_drift_over_days() -> None:
    """Far from the start of the clock, after a million points, as exact as in the first second."""
    slope = SlidingSlope(1.0)
    for k in range(200_000):
        slope.add(1e6 + k / 10, 3.4 + (k % 7) * 1e-3)
    line = [(1e6 + 2e4 + k / 10, 3.4 + k * 1e-4) for k in range(10)]
    for t, v in line:
        slope.add(t, v)
    assert len(slope) == 10
    assert slope.fit() == pytest.approx((1e-3, 0.0), abs=1e-8)


def test_too_few_points_have_no_slope() -> None:
    slope = SlidingSlope(10.0)
    assert slope.fit() is None
    slope.add(0.0, 3.4)
    slope.add(1.0, 3.5)
    assert slope.fit() is None


def test_points_that_are_not_later_are_left_out() -> None:
    slope = SlidingSlope(10.0)
    for t in (0.0, 1.0, 1.0, 0.5, -3.0, 2.0):
        slope.add(t, t)
    assert len(slope) == 3
    assert slope.fit() == (pytest.approx(1.0), pytest.approx(0.0))


def test_clear_starts_again() -> None:
    slope = SlidingSlope(10.0)
    for t in range(5):
        slope.add(float(t), float(-t))
    slope.clear()
    assert (len(slope), slope.fit()) == (0, None)
    for t in range(3):
        slope.add(float(t), float(t))
    assert slope.fit() == (pytest.approx(1.0), pytest.approx(0.0))
