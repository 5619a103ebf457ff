"""The table in front of the rectifier's circuit: how near, how smooth, always the same."""

import copy
from dataclasses import astuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.simulator.output import NOTHING, Output
from supervisor.simulator.parts.supply import SupplySettings
from supervisor.simulator.rectifier_circuit import RectifierCircuit
from supervisor.simulator.rectifier_table import RectifierTable, table_of
from supervisor.simulator.supply import circuit_of

HUT = circuit_of(SupplySettings())
OTHERS = [
    {"mains_hertz": 60.0},
    {"capacitor_farads": 20.0},
    {"capacitor_farads": 0.05},
    {"leakage_microhenries": 100.0, "winding_milliohms": 1.0},
    {"leakage_microhenries": 0.0, "winding_milliohms": 10.0},
    {"diode_saturation_amperes": 1e-5, "diode_ideality": 1.05, "diode_milliohms": 2.0},
]


def direct(circuit: RectifierCircuit, points: list[tuple[float, float, float]]) -> list[Output]:
    columns = circuit.steady(*(np.array(column) for column in zip(*points, strict=True))).summary()
    return [Output(*column) for column in columns.T.tolist()]


def spread(seed: int, count: int = 300) -> list[tuple[float, float, float]]:
    """Half volts, EMF and bank resistance, from no current to a swell into a worn-out bank."""
    rng = np.random.default_rng(seed)
    return [
        (float(v), float(e), float(r))
        for v, e, r in zip(
            rng.uniform(2.5, 6.5, count), rng.uniform(3.0, 4.0, count),
            rng.uniform(0, 0.4e-3, count), strict=True,
        )
    ]  # fmt: skip


@pytest.mark.parametrize("parts", [{}, *OTHERS])
def test_interpolated_within_a_fifth_of_a_percent_of_the_circuit(parts: dict[str, float]) -> None:
    """0.2 %, or 5 mA and 5 mW: all five figures, against the circuit solved at that very point."""
    circuit = circuit_of(SupplySettings(**parts))
    table, points = RectifierTable(circuit), spread(5)
    for point, solved in zip(points, direct(circuit, points), strict=True):
        assert astuple(table.output(*point)) == pytest.approx(astuple(solved), rel=2e-3, abs=5e-3)


@given(
    st.floats(0.0, 7.0), st.floats(1e-6, 0.4), st.floats(2.0, 3.5), st.floats(0.0, 3e-4)
)  # fmt: skip
@settings(deadline=None, max_examples=200)
def test_more_voltage_is_never_less_current(
    half_v: float, more_v: float, emf_v: float, bank_ohm: float
) -> None:
    table = table_of(HUT)
    less, more = (
        table.output(half_v, emf_v, bank_ohm),
        table.output(half_v + more_v, emf_v, bank_ohm),
    )
    assert more.current_a >= less.current_a >= 0
    assert more.peak_a >= less.peak_a >= less.current_a
    assert more.rectifier_w >= less.rectifier_w >= 0
    assert table.output(half_v, emf_v + more_v, bank_ohm).current_a <= less.current_a + 1e-9
    assert table.output(half_v, emf_v, bank_ohm + 1e-4).current_a <= less.current_a + 1e-9


def test_no_step_and_no_kink_anywhere() -> None:
    """Along the knob, across cells and tiles: the slope changes by little from 1 mV to the next."""
    currents = np.array(
        [table_of(HUT).output(2.4 + k * 1e-3, 3.3, 1e-4).current_a for k in range(4600)]
    )
    slopes = np.diff(currents)
    assert slopes.min() >= 0
    assert np.abs(np.diff(slopes)).max() < 0.02 * slopes.max()
    emfs = np.array(
        [table_of(HUT).output(4.5, 2.9 + k * 1e-3, 1e-4).current_a for k in range(1200)]
    )
    assert np.abs(np.diff(emfs, 2)).max() < 0.02 * np.abs(np.diff(emfs)).max()


def test_the_same_to_the_bit_whatever_was_asked_before() -> None:
    points = spread(9, 60)
    first, second = RectifierTable(HUT), RectifierTable(HUT)
    forwards = [first.output(*point) for point in points]
    backwards = [second.output(*point) for point in reversed(points)]
    assert forwards == backwards[::-1]


def test_plants_with_the_same_supply_share_one_table() -> None:
    again = circuit_of(SupplySettings(knob=0.7))
    assert table_of(again) is table_of(HUT)
    assert copy.deepcopy(table_of(HUT)) is table_of(HUT), "a what-if need not solve it again"
    assert table_of(circuit_of(SupplySettings(mains_hertz=60))) is not table_of(HUT)


def test_below_the_onset_nothing() -> None:
    """Twelve times N VT below the voltage at which the diodes carry one ampere."""
    assert table_of(HUT).output(0.0, 3.3, 1e-4) is NOTHING
    assert table_of(HUT).output(2.5, 3.3, 1e-4) is NOTHING
    tiny = [table_of(HUT).output(2.57 + k * 1e-3, 3.3, 1e-4).current_a for k in range(100)]
    assert tiny == sorted(tiny)
    assert max(tiny) < 1e-3


@pytest.mark.parametrize(
    ("half_v", "emf_v", "bank_ohm"),
    [(5.0, 0.0, 1e-4), (5.0, -0.3, 1e-4), (5.0, 3.3, 0.0), (5.0, 3.3, 2.0), (7.7, 3.3, 1e-4)],
)
def test_far_out_it_still_follows_the_circuit(half_v: float, emf_v: float, bank_ohm: float) -> None:
    """A dead or reversed bank, no resistance or a loose joint, the highest swell."""
    (solved,) = direct(HUT, [(half_v, emf_v, bank_ohm)])
    found = table_of(HUT).output(half_v, emf_v, bank_ohm)
    assert astuple(found) == pytest.approx(astuple(solved), rel=5e-3)
