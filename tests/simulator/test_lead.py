"""Sense leads: filter, ripple, divider, and broken leads."""

import math

import pytest
from still_plant import StillPlant

from supervisor.simulator.lead import Lead

FILTER_HZ = 7.0
SHORT_S = 1e-6
TAU_S = 1 / (2 * math.pi * FILTER_HZ)


def shunt_lead(ripple: float = 0.0, **changes: float) -> tuple[StillPlant, Lead]:
    """At rest at no current; 100 A from time 0, 1 mV per ampere."""
    plant = StillPlant(ripple)
    plant.current_a = 0.0
    lead = Lead(
        plant,  # type: ignore[arg-type]
        lambda: (plant.current_a, plant.current_ripple_a),
        scale=1e-3,
        offset=0.0,
        filter_hz=FILTER_HZ,
        start_s=0.0,
        **changes,
    )
    plant.current_a = 100.0
    return plant, lead


def test_a_step_is_filtered_as_by_first_order() -> None:
    plant, lead = shunt_lead()
    for times_tau in (0.5, 1.0, 2.0):
        volts = lead.volts(times_tau * TAU_S, SHORT_S)
        assert volts == pytest.approx(plant.current_a * 1e-3 * (1 - math.exp(-times_tau)), rel=1e-6)
    plant.change(1.0, lambda: setattr(plant, "current_a", 0.0))
    before_v = lead.volts(1.0, SHORT_S)
    assert lead.volts(1.0 + TAU_S, SHORT_S) == pytest.approx(before_v / math.e, rel=1e-6)


def test_ripple_is_attenuated_as_by_first_order() -> None:
    plant, lead = shunt_lead(ripple=0.5)
    course = [lead.volts(10.0 + k / 10_000, SHORT_S) for k in range(200)]  # two cycles of 100 Hz
    amplitude_v = (max(course) - min(course)) / 2
    passed = 1 / math.sqrt(1 + (100 / FILTER_HZ) ** 2)
    assert amplitude_v == pytest.approx(0.5 * plant.current_a * 1e-3 * passed, rel=1e-2)
    assert sum(course) / len(course) == pytest.approx(plant.current_a * 1e-3, rel=1e-6)


# Boxcar |sinc(fT)|: 10 ms nulls 100 Hz; 20 ms too.
@pytest.mark.parametrize("span_s", [0.01, 0.02])
def test_ripple_vanishes_over_whole_cycles(span_s: float) -> None:
    plant, lead = shunt_lead(ripple=0.5)
    volts = [lead.volts(10.0 + k / 1000, span_s) for k in range(20)]
    assert max(volts) - min(volts) < 1e-4 * plant.current_a * 1e-3


def test_an_open_lead_goes_to_zero_through_its_bleed() -> None:
    plant, lead = shunt_lead(ripple=0.5)
    lead.volts(10.0, SHORT_S)
    plant.change(10.0, lambda: setattr(lead, "held_v", 0.0))
    assert lead.volts(11.0, SHORT_S) == pytest.approx(0.0, abs=1e-6)
    plant.change(11.0, lambda: setattr(lead, "held_v", None))
    assert lead.volts(12.0, 0.01) == pytest.approx(plant.current_a * 1e-3, rel=1e-6)


def test_swapped_wires_read_negative() -> None:
    plant, lead = shunt_lead()
    lead.reversed = True
    assert lead.volts(10.0, SHORT_S) == pytest.approx(-plant.current_a * 1e-3, rel=1e-6)


@pytest.mark.parametrize("ohm", [0.5, 100e3, 1e6])
@pytest.mark.parametrize("open_v", [0.0, 0.6])
def test_a_leads_resistance_divides_with_the_bleed(ohm: float, open_v: float) -> None:
    _, lead = shunt_lead(ohm=ohm, bleed_ohm=1e6, open_v=open_v)
    expected_v = (0.1 * 1e6 + open_v * ohm) / (1e6 + ohm)
    assert lead.volts(10.0, SHORT_S) == pytest.approx(expected_v, rel=1e-9)


def test_a_joints_resistance_comes_on_top_and_goes_again() -> None:
    plant, lead = shunt_lead(ripple=0.5, ohm=1000.0, bleed_ohm=1e6)
    healthy_v = lead.volts(10.0, 0.01)
    plant.change(10.0, lambda: lead.add_ohm(99_000.0))
    assert lead.volts(20.0, 0.01) == pytest.approx(0.1 / 1.1, rel=1e-6)
    swing_v = (lead.volts(20.0 + 0.0025, SHORT_S) - lead.volts(20.0075, SHORT_S)) / 2
    plant.change(21.0, lambda: lead.add_ohm(0.0))
    assert lead.volts(30.0, 0.01) == pytest.approx(healthy_v, rel=1e-9)
    healthy_swing_v = (lead.volts(30.0 + 0.0025, SHORT_S) - lead.volts(30.0075, SHORT_S)) / 2
    assert swing_v / healthy_swing_v == pytest.approx(1.001 / 1.1, rel=1e-6)


def test_common_mode_is_seen_with_a_lead_swapped_as_well() -> None:
    _, lead = shunt_lead(stray_v=2e-6)
    assert lead.volts(10.0, SHORT_S) == pytest.approx(0.1 + 2e-6, abs=1e-12)
    _, lead = shunt_lead(stray_v=2e-6)
    lead.reversed = True
    assert lead.volts(10.0, SHORT_S) == pytest.approx(-0.1 + 2e-6, abs=1e-12)


def test_a_held_input_sees_no_lead() -> None:
    plant, lead = shunt_lead(ohm=1e6, bleed_ohm=1e6, stray_v=1e-3)
    plant.change(10.0, lambda: setattr(lead, "held_v", 0.25))
    assert lead.volts(20.0, SHORT_S) == pytest.approx(0.25, rel=1e-9)
