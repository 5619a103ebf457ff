"""The slope that a rule reckons, for the plot of its trip."""

import numpy as np
import pytest

from supervisor.report.slopes import slopes


def test_a_straight_line_has_its_own_slope() -> None:
    at_s = np.arange(0.0, 20.0, 0.1)
    found = slopes(at_s, 3.4 + 0.001 * at_s, 10.0)
    assert np.isnan(found[at_s < 9.95]).all()
    assert found[-1] == pytest.approx(0.001)


def test_it_is_the_least_squares_fit_over_the_last_seconds() -> None:
    """As numpy.polyfit says."""
    at_s = np.arange(0.0, 5.0, 0.1)
    values = np.sin(at_s)
    inside = at_s > at_s[-1] - 2.0 + 1e-9
    expected = np.polyfit(at_s[inside], values[inside], 1)[0]
    assert slopes(at_s, values, 2.0)[-1] == pytest.approx(expected)


def test_what_is_not_known_is_left_out() -> None:
    at_s = np.arange(0.0, 5.0, 0.1)
    values = 2.0 * at_s
    values[30] = np.nan
    found = slopes(at_s, values, 1.0)
    assert np.isnan(found[30])
    assert found[-1] == pytest.approx(2.0)
