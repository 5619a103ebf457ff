"""What is refused of a calibration's line, told in words; and the numbers for the settings."""

import random
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.measurement.line_fit import LineFit, Point, fit_line, known_zero
from supervisor.measurement.line_judged import (
    cautions,
    gain_uncertainty_percent_for,
    poor,
    settings_keys,
)
from supervisor.measurement.meter import Meter
from supervisor.measurement.uncertainty import cell_budget
from supervisor.settings.hardware import CellChannel, ShuntChannel

METER = Meter(reading_percent=0.05, counts=2, resolution=0.001)
CELL = CellChannel(converter="adc", inputs="0-1")
SHUNT = ShuntChannel(converter="adc", inputs="0-1", rated_amperes=200.0, rated_millivolts=50.0)
LIMITS_V = (3.6, 3.65)


def line(xs: list[float], gain: float = 1.01, offset: float = 0.002, **spoilt: float) -> LineFit:
    """Without errors but for ``spoilt``: off by so much at one point, ``at``."""
    points = []
    for number, x in enumerate(xs):
        off = spoilt["off"] if spoilt and number == spoilt["at"] else 0.0
        points.append(Point(x, 1e-4, gain * x + offset + off, METER.random(1e-4), METER))
    return fit_line(points)


def test_a_good_line_is_neither_refused_nor_cautioned() -> None:
    fit = line([2.5, 3.0, 3.3, 3.6])
    assert poor(fit, CELL, LIMITS_V) == ()
    assert cautions(fit) == ()


def test_one_point_off() -> None:
    words = poor(line([2.5, 2.8, 3.0, 3.3, 3.6], at=2, off=0.0016), CELL, LIMITS_V)
    (one,) = [w for w in words if w.startswith("Point")]
    assert one.startswith("Point 3 (3.0336 by the reference, 3 read) lies")
    assert "standard uncertainties off" in one


def test_points_that_scatter_too_much() -> None:
    rng = random.Random(3)
    points = [
        Point(x / 10, 0.0, x / 10 + rng.choice((-1, 1)) * 2.5e-4 * 9, 1e-3) for x in range(20, 36)
    ]
    words = poor(fit_line(points), CELL, LIMITS_V)
    assert any("scatter more than" in one and "14 degrees of freedom" in one for one in words)


def test_half_a_permille_of_right_lines_is_called_improbable_by_chance_at_most() -> None:
    rng = random.Random(11)
    refused = 0
    for _ in range(500):
        points = [Point(x / 10, 0.0, x / 10 + rng.gauss(0, 3e-4), 3e-4) for x in range(24, 37, 3)]
        refused += any("scatter" in one for one in poor(fit_line(points), CELL, LIMITS_V))
    assert refused <= 4  # 0.5 expected; more than 4 of 500 at 0.1 % each: once in 5000 trials


def test_points_too_close_together() -> None:
    words = poor(line([3.55, 3.57, 3.6]), CELL, LIMITS_V)
    assert any("too close together to tell a gain" in one for one in words)


@pytest.mark.parametrize(("other", "is_wide"), [(3.3, False), (2.6, True), (0.0, True)])
def test_two_points_must_be_wide_apart_and_are_cautioned(other: float, is_wide: bool) -> None:
    fit = line([other, 3.6])
    assert (not poor(fit, CELL, LIMITS_V)) is is_wide
    assert "cannot be checked" in " ".join(cautions(fit))


@pytest.mark.parametrize(
    ("gain", "offset", "words"),
    [
        (0.4, 0.0, "gain would be 0.4"),
        (11.0, 0.0, "gain would be 11"),
        (-1.0, 0.0, "gain would be -1"),
        (1.0, 0.11, "offset_volts would be 0.11"),
        (1.0, -0.2, "offset_volts would be -0.2"),
    ],
)
def test_what_the_settings_refuse(gain: float, offset: float, words: str) -> None:
    xs = [1.0, 2.0, 3.6]
    found = poor(line(xs, gain, offset), CELL, (gain * 3.6 + offset,))
    (one,) = found
    assert one.startswith(words)
    assert "look at leads" in one


def test_a_reference_that_is_worse_than_the_settings_allow() -> None:
    coarse = Meter(reading_percent=6, counts=3, resolution=0.001)
    fit = fit_line([Point(x, 1e-4, x, coarse.random(), coarse) for x in (1.0, 2.0, 3.6)])
    (words,) = poor(fit, CELL, (3.6,))
    assert words.startswith("gain_uncertainty_percent would be 6.1")


def test_a_shunt_has_bounds_of_its_own() -> None:
    clamp = Meter(reading_percent=1, counts=3, resolution=0.1)

    def through_zero(zero_a: float, gain: float) -> LineFit:
        points = [Point(x, 0.01, gain * (x - zero_a), clamp.random(), clamp) for x in (60.0, 120.0)]
        return fit_line([known_zero(zero_a, 0.01), *points])

    assert poor(through_zero(-0.3, 1.1), SHUNT, (130,)) == ()
    (words,) = poor(through_zero(-30, 1.8), SHUNT, (130,))
    assert words.startswith("offset_amperes would be 54")
    (words,) = poor(through_zero(0, 2.2), SHUNT, (130,))
    assert words.startswith("gain would be 2.2")
    (words,) = poor(through_zero(0, 1.0), SHUNT, (180,))
    assert "between 0 and 120 A" in words
    assert "judged at 180 A" in words


@pytest.mark.parametrize(
    ("interest", "is_far"), [(3.6, False), (3.9, False), (4.1, True), (2.2, False), (2.0, True)]
)
def test_limits_far_from_all_points(interest: float, is_far: bool) -> None:
    fit = line([2.5, 3.0, 3.7], gain=1.0, offset=0.0)
    assert any("nobody has" in one for one in poor(fit, CELL, (interest,))) is is_far
    assert not any("nobody has" in one for one in poor(fit, CELL, (interest,), reach=0.5))


def test_the_percent_is_the_budgets_rectangular_limit() -> None:
    """A meter of 0.05 % + 2 counts of 1 mV alone: at 3.6 V its limit is 3.8 mV, 0.1056 %; the
    scatter of a thousand points is nothing beside it."""
    fit = fit_line([Point(x, 0.0, x, 1e-6, METER) for x in (0.0, 1.8, 3.6)])
    assert gain_uncertainty_percent_for(fit, 3.6) == 0.11
    assert gain_uncertainty_percent_for(fit, 0.36) == 0.61  # 2.18 mV of 360
    assert gain_uncertainty_percent_for(fit, -3.6) == pytest.approx(0.11)
    keys = settings_keys(fit, CELL, (0.36, 3.6))
    assert keys == {
        "gain": pytest.approx(1.0),
        "offset_volts": pytest.approx(0.0, abs=1e-12),
        "gain_uncertainty_percent": 0.61,
    }


@given(
    st.floats(0.5, 10), st.floats(-0.1, 0.1), st.floats(0.02, 2), st.integers(0, 9),
    st.floats(1.0, 4.0),
)  # fmt: skip
def test_the_budget_of_the_written_gain_holds_the_line(
    gain: float, offset: float, percent: float, counts: int, at_v: float
) -> None:
    """What the channel's budget then says is not less than what the line is unsure by."""
    meter = Meter(percent, counts, 0.001)
    fit = fit_line([Point(x, 0, gain * x + offset, 1e-3, meter) for x in (0.2, 0.3, 3.0)])
    written = gain_uncertainty_percent_for(fit, at_v)
    u = fit.standard_at(fit.reading(at_v))
    assert u / at_v * 100 * sqrt(3) <= written * (1 + 1e-6)
    assert written <= u / at_v * 100 * sqrt(3) * 1.1000001  # two digits, rounded up
    if written <= 5:
        channel = CellChannel(converter="adc", inputs="0", gain_uncertainty_percent=written)
        assert cell_budget(channel).standard(at_v) >= u * (1 - 1e-6)


def test_at_nothing_nothing_can_be_judged() -> None:
    fit = line([2.5, 3.0, 3.6])
    with pytest.raises(ValueError, match="share of zero"):
        gain_uncertainty_percent_for(fit, 0.0)
    with pytest.raises(ValueError, match="Name the values"):
        poor(fit, CELL, ())
