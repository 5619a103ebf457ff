"""Open-circuit voltage against published points."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.simulator.open_circuit import OpenCircuitCurve

curve = OpenCircuitCurve()
socs = st.floats(min_value=-0.05, max_value=1.1)


# Open BPX LFP example set, as evaluated by PyBaMM; +-1 mV within a set.
@pytest.mark.parametrize(
    ("soc", "volts"),
    [
        (0.1, 3.18817),
        (0.5, 3.27807),
        (0.9, 3.32179),
        (0.95, 3.32269),
        (0.98, 3.32350),
        (0.99, 3.33399),
        (1.0, 3.64856),
    ],
)
def test_published_points(soc: float, volts: float) -> None:
    assert curve.at(soc)[0] == pytest.approx(volts, abs=1e-9)


@given(socs, socs)
def test_more_charge_is_never_less_voltage(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert curve.at(low)[0] <= curve.at(high)[0] + 1e-12


@given(st.floats(min_value=0.001, max_value=1.099))
def test_slope_is_the_derivative(soc: float) -> None:
    step = 1e-7
    rise = (curve.at(soc + step)[0] - curve.at(soc - step)[0]) / (2 * step)
    assert curve.at(soc)[1] == pytest.approx(rise, rel=1e-3, abs=1e-4)


def test_flat_for_days_then_steep_within_the_last_percent() -> None:
    slopes = [curve.at(soc)[1] for soc in (0.6, 0.95, 0.999)]
    assert slopes[0] < 0.3
    assert slopes[1] < 0.1
    assert slopes[2] > 30


def test_overcharge_goes_on_as_steeply() -> None:
    assert curve.at(1.0)[1] == curve.at(1.05)[1]
    assert curve.at(1.01)[0] > 4.0


def test_an_empty_cell_falls_steeply() -> None:
    volts = [curve.at(soc)[0] for soc in (0.0, 0.02, 0.05, 0.1)]
    assert volts[0] == 2.5
    assert all(a < b for a, b in itertools.pairwise(volts))
