"""Sense leads: filter, ripple, divider, and broken leads."""

import math

import pytest

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.lead import Lead
from supervisor.simulator.parts.cells import CellsSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.supply import SupplySettings
from supervisor.simulator.plant import Plant

FILTER_HZ = 7.0
SHORT_S = 1e-6


def shunt_lead(hut: SupervisorSettings, ripple_percent: float) -> tuple[Plant, Lead]:
    """Contactor just closed at time 0, 1 mV per ampere."""
    plant = Plant(
        hut,
        PlantSettings(
            cells=CellsSettings(state_of_charge=0.6),
            supply=SupplySettings(knob=1.0, ripple_percent=ripple_percent),
        ),
    )
    lead = Lead(
        plant,
        lambda: (plant.current_a, plant.current_ripple_a),
        scale=1e-3,
        offset=0.0,
        filter_hz=FILTER_HZ,
        start_s=0.0,
    )
    plant.change(0.0, plant.contactor.hold_closed)
    assert plant.mains is not None
    plant.change(0.0, plant.mains.hold_closed)
    return plant, lead


def test_a_step_is_filtered_as_by_first_order(hut_settings: SupervisorSettings) -> None:
    plant, lead = shunt_lead(hut_settings, ripple_percent=0)
    tau_s = 1 / (2 * math.pi * FILTER_HZ)
    for times_tau in (0.5, 1.0, 2.0):
        volts = lead.volts(times_tau * tau_s, SHORT_S)
        assert volts == pytest.approx(plant.current_a * 1e-3 * (1 - math.exp(-times_tau)), rel=1e-3)
    plant.change(1.0, plant.contactor.mend)
    before_v = lead.volts(1.0, SHORT_S)
    assert lead.volts(1.0 + tau_s, SHORT_S) == pytest.approx(before_v / math.e, rel=1e-3)


def test_ripple_is_attenuated_as_by_first_order(hut_settings: SupervisorSettings) -> None:
    plant, lead = shunt_lead(hut_settings, ripple_percent=50)
    course = [lead.volts(10.0 + k / 10_000, SHORT_S) for k in range(200)]  # two cycles of 100 Hz
    amplitude_v = (max(course) - min(course)) / 2
    passed = 1 / math.sqrt(1 + (100 / FILTER_HZ) ** 2)
    assert amplitude_v == pytest.approx(0.5 * plant.current_a * 1e-3 * passed, rel=1e-2)
    assert sum(course) / len(course) == pytest.approx(plant.current_a * 1e-3, rel=1e-3)


# Boxcar |sinc(fT)|: 10 ms nulls 100 Hz; 20 ms too.
@pytest.mark.parametrize("span_s", [0.01, 0.02])
def test_ripple_vanishes_over_whole_cycles(hut_settings: SupervisorSettings, span_s: float) -> None:
    plant, lead = shunt_lead(hut_settings, ripple_percent=50)
    volts = [lead.volts(10.0 + k / 1000, span_s) for k in range(20)]
    assert max(volts) - min(volts) < 1e-4 * plant.current_a * 1e-3


def test_an_open_lead_goes_to_zero_through_its_bleed(hut_settings: SupervisorSettings) -> None:
    plant, lead = shunt_lead(hut_settings, ripple_percent=50)
    lead.volts(10.0, SHORT_S)
    plant.change(10.0, lambda: setattr(lead, "held_v", 0.0))
    assert lead.volts(11.0, SHORT_S) == pytest.approx(0.0, abs=1e-6)
    plant.change(11.0, lambda: setattr(lead, "held_v", None))
    assert lead.volts(12.0, 0.01) == pytest.approx(plant.current_a * 1e-3, rel=1e-3)


def test_swapped_wires_read_negative(hut_settings: SupervisorSettings) -> None:
    plant, lead = shunt_lead(hut_settings, ripple_percent=0)
    lead.reversed = True
    assert lead.volts(10.0, SHORT_S) == pytest.approx(-plant.current_a * 1e-3, rel=1e-3)
