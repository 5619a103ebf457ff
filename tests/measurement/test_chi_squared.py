"""Against scipy, and the tables' 10.828 (0.1 % at one degree) and 18.307 (5 % at ten)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from supervisor.measurement.chi_squared import MOST_DEGREES, chance_of_more


@given(st.floats(0, 3000), st.integers(1, MOST_DEGREES))
def test_as_scipy_says(chi_squared: float, degrees: int) -> None:
    right = chi2.sf(chi_squared, degrees)
    assert chance_of_more(chi_squared, degrees) == pytest.approx(right, rel=1e-9, abs=1e-190)


@pytest.mark.parametrize(("at", "degrees", "chance"), [(10.828, 1, 0.001), (18.307, 10, 0.05)])
def test_of_the_tables(at: float, degrees: int, chance: float) -> None:
    assert chance_of_more(at, degrees) == pytest.approx(chance, rel=2e-3)


@pytest.mark.parametrize("degrees", [0, -1])
def test_without_freedom_nothing_can_be_said(degrees: int) -> None:
    assert chance_of_more(5.0, degrees) == 1.0
