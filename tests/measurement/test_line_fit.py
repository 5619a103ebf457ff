"""Published: GUM (JCGM 100:2008) example H.3, tables H.6; the data of Pearson with the weights of
York, in York et al. 2004 and many before (both from memory; the tables prove themselves by the
results). Independent: scipy, numpy."""

import math
import random
from dataclasses import replace
from math import sqrt
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import event, given
from hypothesis import strategies as st
from scipy.optimize import curve_fit, minimize

from supervisor.measurement.line_fit import (
    MOST_POINTS,
    LineFit,
    NoLine,
    Point,
    averaged,
    fit_line,
    known_zero,
)
from supervisor.measurement.meter import Meter

THERMOMETER_C = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010,
                 26.511]  # fmt: skip
CORRECTION_C = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161,
                -0.160]  # fmt: skip


def test_thermometer_of_the_gum() -> None:
    """Around 20 C: y1 = -0.1712 C, s 0.0029; y2 = 0.00218, s 0.00067; r = -0.930; s = 0.0035; at
    30 C the correction is -0.1494 C with 0.0041."""
    pairs = zip(THERMOMETER_C, CORRECTION_C, strict=True)
    fit = fit_line([Point(t - 20, 0.0, b, 0.0035) for t, b in pairs])
    assert fit.offset == pytest.approx(-0.1712, abs=5e-5)
    assert fit.u_offset == pytest.approx(0.0029, abs=5e-5)
    assert fit.gain == pytest.approx(0.00218, abs=5e-6)
    assert fit.u_gain == pytest.approx(0.00067, abs=5e-6)
    assert fit.covariance / fit.u_gain / fit.u_offset == pytest.approx(-0.930, abs=5e-4)
    assert sqrt(fit.chi_squared / fit.degrees_of_freedom) * 0.0035 == pytest.approx(
        0.0035, abs=5e-5
    )
    assert fit.value(10.0) == pytest.approx(-0.1494, abs=5e-5)
    assert fit.standard_at(10.0) == pytest.approx(0.0041, abs=5e-5)
    differences = [-0.0031, -0.0022, -0.0003, 0.0056, -0.0005, -0.0025, 0.0054, 0.0033, 0.0002,
                   -0.0029, -0.0030]  # fmt: skip
    assert fit.residuals == pytest.approx(differences, abs=6e-5)


PEARSON_X = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
PEARSON_Y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]
YORK_X_WEIGHTS = [1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0]
YORK_Y_WEIGHTS = [1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500]


def test_errors_in_both_of_york() -> None:
    columns = zip(PEARSON_X, YORK_X_WEIGHTS, PEARSON_Y, YORK_Y_WEIGHTS, strict=True)
    fit = fit_line([Point(x, wx**-0.5, y, wy**-0.5) for x, wx, y, wy in columns])
    assert fit.offset == pytest.approx(5.47991022, abs=5e-9)
    assert fit.gain == pytest.approx(-0.480533407, abs=5e-10)
    assert fit.u_offset == pytest.approx(0.295, abs=5e-4)
    assert fit.u_gain == pytest.approx(0.0580, abs=5e-5)
    assert fit.chi_squared / fit.degrees_of_freedom == pytest.approx(1.4833, abs=5e-5)


LINES = st.tuples(st.floats(0.5, 10), st.floats(-0.1, 0.1))
READINGS = st.lists(
    st.integers(0, 400).map(lambda n: n / 100), min_size=3, max_size=12, unique=True
).filter(lambda xs: max(xs) - min(xs) > 0.5)
METERS = st.builds(
    Meter, st.floats(0.01, 2), st.floats(0, 10), st.sampled_from([1e-3, 1e-4]), st.just(0.0)
)


def scattered(
    xs: list[float],
    line: tuple[float, float],
    u_x: float,
    u_y: float,
    seed: int,
    meter: Meter | None,
) -> list[Point]:
    """Points of a line with errors of these sizes."""
    rng = random.Random(seed)
    gain, offset = line
    return [
        Point(x + rng.gauss(0, u_x), u_x, gain * x + offset + rng.gauss(0, u_y), u_y, meter)
        for x in xs
    ]


@given(READINGS, LINES, st.integers(0, 999))
def test_without_errors_in_x_it_is_the_weighted_fit_of_scipy(
    xs: list[float], line: tuple[float, float], seed: int
) -> None:
    rng = random.Random(seed)
    points = [
        replace(point, u_y=rng.uniform(1e-4, 1e-2))
        for point in scattered(xs, line, 0.0, 3e-3, seed, None)
    ]
    fit = fit_line(points)
    best, covariance = curve_fit(
        lambda x, gain, offset: gain * x + offset,
        np.array([p.x for p in points]),
        np.array([p.y for p in points]),
        p0=line,
        sigma=np.array([p.u_y for p in points]),
        absolute_sigma=True,
        jac=lambda x, _gain, _offset: np.array([x, np.ones_like(x)]).T,
    )
    assert [fit.gain, fit.offset] == pytest.approx(best, rel=1e-6, abs=1e-6)
    assert fit.u_gain == pytest.approx(sqrt(covariance[0, 0]), rel=1e-4)
    assert fit.u_offset == pytest.approx(sqrt(covariance[1, 1]), rel=1e-4)
    assert fit.covariance == pytest.approx(covariance[0, 1], rel=1e-4)


@given(READINGS, LINES, st.integers(0, 999))
def test_with_errors_in_both_it_is_the_likeliest_line(
    xs: list[float], line: tuple[float, float], seed: int
) -> None:
    """The one with the least chi-squared across the line, found by scipy's search."""
    points = scattered(xs, line, 2e-3, 3e-3, seed, None)
    fit = fit_line(points)
    across = np.array([(p.x, p.u_x**2, p.y, p.u_y**2) for p in points]).T

    def chi_squared(tried: list[float]) -> float:
        x, var_x, y, var_y = across
        residuals = y - tried[0] * x - tried[1]
        return float(np.sum(residuals**2 / (var_y + tried[0] ** 2 * var_x)))

    assert chi_squared([fit.gain, fit.offset]) == pytest.approx(fit.chi_squared)
    found = minimize(chi_squared, [fit.gain + 0.01, fit.offset], method="Nelder-Mead",
                     options={"xatol": 1e-10, "fatol": 1e-10, "maxiter": 2000})  # fmt: skip
    assert fit.chi_squared <= found.fun + 1e-6
    assert abs(fit.gain - found.x[0]) < 0.02 * fit.u_gain
    assert abs(fit.offset - found.x[1]) < 0.02 * fit.u_offset


@given(READINGS, LINES, METERS, st.floats(0, 1e-3))
def test_an_exact_line_is_recovered(
    xs: list[float], line: tuple[float, float], meter: Meter, u_x: float
) -> None:
    points = [Point(x, u_x, line[0] * x + line[1], meter.random(), meter) for x in xs]
    fit = fit_line(points)
    assert fit.gain == pytest.approx(line[0], rel=1e-9)
    assert fit.offset == pytest.approx(line[1], abs=1e-8)
    assert fit.chi_squared < 1e-9
    assert fit.residuals == pytest.approx([0.0] * len(xs), abs=1e-8)


@given(READINGS, LINES, METERS, st.integers(0, 999), st.randoms())
def test_the_order_of_points_does_not_matter(
    xs: list[float], line: tuple[float, float], meter: Meter, seed: int, order: random.Random
) -> None:
    points = scattered(xs, line, 1e-4, meter.random(), seed, meter)
    mixed = order.sample(points, len(points))
    assert figures(fit_line(mixed)) == pytest.approx(figures(fit_line(points)), rel=1e-7)


@given(READINGS, LINES, METERS, st.integers(0, 999), st.sampled_from([1e-3, 0.2, 7.0, 1e3]))
def test_units_do_not_matter(
    xs: list[float], line: tuple[float, float], meter: Meter, seed: int, scale: float
) -> None:
    points = scattered(xs, line, 1e-4, meter.random(), seed, meter)
    other = replace(meter, resolution=meter.resolution * scale, fixed=meter.fixed * scale)
    scaled = [Point(p.x * scale, p.u_x * scale, p.y * scale, p.u_y * scale, other) for p in points]
    fit, big = fit_line(points), fit_line(scaled)
    assert big.gain == pytest.approx(fit.gain, rel=1e-8)
    assert big.u_gain == pytest.approx(fit.u_gain, rel=1e-7)
    assert big.offset == pytest.approx(fit.offset * scale, abs=1e-8 * scale)
    assert big.standard_at(3.6 * scale) == pytest.approx(fit.standard_at(3.6) * scale, rel=1e-7)
    assert big.chi_squared == pytest.approx(fit.chi_squared, rel=1e-5)


def figures(fit: LineFit) -> list[float]:
    return [fit.gain, fit.u_gain, fit.u_offset, fit.standard_at(0.0), fit.standard_at(3.6)]


@given(READINGS, LINES, METERS, st.floats(0, 4))
def test_no_line_is_better_than_its_meter(
    xs: list[float], line: tuple[float, float], meter: Meter, at: float
) -> None:
    """Points of one meter: at any value at least what the statement says of it, however many."""
    points = [Point(x, 0.0, line[0] * x + line[1], meter.random(), meter) for x in xs]
    for many in (points, points * (MOST_POINTS // len(points))):
        fit = fit_line(many)
        assert fit.standard_at(at) >= meter.systematic(fit.value(at)) * (1 - 1e-7)
        assert fit.u_gain >= fit.gain * meter.gain_standard * (1 - 1e-9)


def test_more_points_take_away_the_scatter_and_nothing_of_the_meter() -> None:
    meter = Meter(0.5, 2, 0.001)
    few = [Point(x, 0.0, x, 0.01, meter) for x in (0.5, 2.0, 3.5)]
    fits = [fit_line(few * times) for times in (1, 4, 16)]
    assert fits[2].random.at(3.0) == pytest.approx(fits[0].random.at(3.0) / 4)
    shared = [sqrt(fit.standard_at(3.0) ** 2 - fit.random.at(3.0) ** 2) for fit in fits]
    assert shared == pytest.approx([meter.systematic(3.0)] * 3)


def test_two_ranges_of_a_meter_share_nothing() -> None:
    fine, coarse = Meter(0.05, 3, 0.0001), Meter(0.05, 3, 0.001)
    both = fit_line([Point(1.0, 0, 1.0, 1e-4, fine), Point(3.5, 0, 3.5, 1e-3, coarse)])
    assert both.standard_at(1.0) ** 2 == pytest.approx(fine.systematic(1) ** 2 + 1e-8)
    assert both.standard_at(3.5) ** 2 == pytest.approx(coarse.systematic(3.5) ** 2 + 1e-6)


def test_a_known_zero_and_one_point_give_the_gain() -> None:
    """A shunt: -0.2 A read at no current, 98.8 A beside a clamp that says 100 A, 1 % + 3 counts.
    The clamp's whole limit of 1.3 A then goes into the gain, and grows with the current."""
    clamp = Meter(1.0, 3, 0.1)
    fit = fit_line([known_zero(-0.2, 0.02), Point(98.8, 0.02, 100.0, clamp.random(), clamp)])
    assert fit.gain == pytest.approx(100 / 99)
    assert fit.offset == pytest.approx(0.2 * 100 / 99)
    assert fit.standard_at(-0.2) == pytest.approx(0.02 * 100 / 99)
    shared_a = 1.3 / sqrt(3)
    own_a = math.hypot(clamp.random(), 0.02 * 100 / 99)
    assert fit.standard_at(98.8) == pytest.approx(math.hypot(shared_a, own_a))
    zero_a = 0.02 * 100 / 99  # turns the line about the point
    assert fit.standard_at(197.8) == pytest.approx(math.hypot(2 * shared_a, 2 * own_a, zero_a))


def test_covariance_is_that_of_the_points_side() -> None:
    meter = Meter(0.5, 2, 0.001)
    for side in (1.0, -1.0):
        fit = fit_line([Point(side * x, 0, side * x, 1e-3, meter) for x in (1.0, 2.0, 3.5)])
        x = side * 3.0
        u = sqrt(fit.u_gain**2 * x * x + 2 * x * fit.covariance + fit.u_offset**2)
        assert fit.standard_at(x) == pytest.approx(u)


def test_coverage_with_the_meters_error_in_it() -> None:
    """U = 2 u holds the true value in 95 % of calibrations or more, scatter and meter together;
    and U is no idle figure: at half of it the true value gets out."""
    rng = random.Random(20240611)
    meter = Meter(0.05, 2, 0.001)
    true_gain, true_offset, u_x = 1.013, -0.004, 4e-4
    xs = [0.2, 1.0, 1.9, 2.6, 3.2, 3.55]
    trials, held, held_by_half = 1500, 0, 0
    for _ in range(trials):
        gain_error = rng.uniform(-1, 1) * meter.reading_percent / 100
        offset_error = rng.uniform(-1, 1) * meter.counts * meter.resolution
        points = []
        for x in xs:
            shown = (true_gain * x + true_offset) * (1 + gain_error) + offset_error
            shown = round(shown + rng.gauss(0, 3e-4), 3)
            points.append(Point(x + rng.gauss(0, u_x), u_x, shown, meter.random(3e-4), meter))
        fit = fit_line(points)
        error = abs(fit.value(3.6) - (true_gain * 3.6 + true_offset))
        held += error <= 2 * fit.standard_at(3.6)
        held_by_half += error <= fit.standard_at(3.6)
    assert held / trials >= 0.95
    assert held_by_half / trials < 0.9


def test_residuals_scatter_by_one_when_the_uncertainties_are_right() -> None:
    rng = random.Random(5)
    seen = []
    for _ in range(300):
        points = [Point(x, 0, x + rng.gauss(0, 1e-3), 1e-3) for x in (0.0, 0.1, 0.2, 3.0)]
        seen += fit_line(points).normalised
    beyond_two = sum(abs(one) > 2 for one in seen) / len(seen)
    assert beyond_two == pytest.approx(2 * NormalDist().cdf(-2), abs=0.02)
    assert sqrt(sum(one**2 for one in seen) / len(seen)) == pytest.approx(1, abs=0.06)


def test_through_two_points_the_line_must_go() -> None:
    fit = fit_line([Point(1.0, 1e-4, 1.1, 1e-3), Point(3.0, 1e-4, 3.2, 1e-3)])
    assert fit.gain == pytest.approx(1.05)
    assert fit.degrees_of_freedom == 0
    assert fit.probability == 1.0
    assert fit.normalised == (0.0, 0.0)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e9])
@pytest.mark.parametrize("key", ["x", "u_x", "y", "u_y"])
def test_what_is_no_number_is_no_point(key: str, bad: float) -> None:
    with pytest.raises(NoLine, match="no number"):
        Point(**{"x": 1.0, "u_x": 0.001, "y": 1.0, "u_y": 0.001} | {key: bad})


@pytest.mark.parametrize(("u_x", "u_y"), [(0.0, 0.0), (-0.001, 0.001), (0.001, -0.001)])
def test_nothing_is_without_error(u_x: float, u_y: float) -> None:
    with pytest.raises(NoLine, match="without error"):
        Point(1.0, u_x, 1.0, u_y)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([], "One point"),
        ([Point(1, 0, 1, 0.001)], "Take a second one"),
        ([Point(1, 0, 1, 0.001), Point(1, 0, 2, 0.001)], "one reading"),
        ([Point(0, 0, 1, 0.001), Point(0, 0, 2, 0.001)], "one reading"),
        ([Point(1e-200, 0, 1, 0.001), Point(0, 0, 2, 0.001)], "one reading"),
        ([Point(1, 0.001, 2, 0), Point(2, 0.001, 2, 0)], "does not move"),
        ([Point(1, 0, 2, 0.001), Point(2, 0, 2, 0.001)], "does not move"),
        ([Point(1, 0, 1, 0.001), Point(2, 0, 2, 0.001)] * 51, "More than 100"),
    ],
)
def test_points_without_a_line(points: list[Point], words: str) -> None:
    with pytest.raises(NoLine, match=words):
        fit_line(points)


NUMBERS = st.floats(-1e6, 1e6)
ERRORS = st.floats(0, 1e6)


@given(st.lists(st.tuples(NUMBERS, ERRORS, NUMBERS, ERRORS), max_size=5))
def test_any_points_are_a_finite_line_or_words(rows: list[tuple[float, ...]]) -> None:
    meter = Meter(0.5, 2, 0.001)
    try:
        fit = fit_line([Point(*row, meter) for row in rows])
    except NoLine as refused:
        event(str(refused)[:20])
        return
    told = [*figures(fit), fit.offset, fit.covariance, fit.chi_squared, *fit.normalised]
    assert all(math.isfinite(number) for number in told)
    assert 0 <= fit.probability <= 1
    assert fit.standard_at(1.0) > 0


@given(st.lists(st.floats(-10, 10), min_size=2, max_size=30))
def test_a_mean_and_its_scatter(values: list[float]) -> None:
    mean, scatter = averaged(values)
    assert mean == pytest.approx(np.mean(values), abs=1e-12)
    assert scatter == pytest.approx(np.std(values, ddof=1) / sqrt(len(values)), abs=1e-12)


def test_a_mean_of_one_and_of_none() -> None:
    assert averaged([3.3]) == (3.3, 0.0)
    for values in ([], [3.3, math.nan], [math.inf]):
        with pytest.raises(NoLine, match="read it again"):
            averaged(values)


@given(READINGS, LINES, st.floats(0.1, 3.9))
def test_reading_and_value_are_each_others_way_back(
    xs: list[float], line: tuple[float, float], at: float
) -> None:
    fit = fit_line([Point(x, 0, line[0] * x + line[1], 1e-3) for x in xs])
    assert fit.reading(fit.value(at)) == pytest.approx(at)
