"""The plant: circuit, charge, energy, and what the voltage does at the end of charge."""

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.parts.cells import CellsSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.supply import SupplySettings
from supervisor.simulator.plant import Plant


def plant_of(hut: SupervisorSettings, cells: CellsSettings, supply: SupplySettings) -> Plant:
    return Plant(hut, PlantSettings(cells=cells, supply=supply))


def closed_plant(
    hut: SupervisorSettings,
    cells: CellsSettings | None = None,
    supply: SupplySettings | None = None,
) -> Plant:
    """Contactor and mains closed for good at time 0."""
    plant = plant_of(
        hut, cells or CellsSettings(), supply or SupplySettings(knob=1.0, ripple_percent=0)
    )
    plant.change(0.0, plant.contactor.hold_closed)
    assert plant.mains is not None
    plant.change(0.0, plant.mains.hold_closed)
    return plant


def test_nothing_flows_until_contactor_and_mains_are_closed(
    hut_settings: SupervisorSettings,
) -> None:
    plant = plant_of(hut_settings, CellsSettings(), SupplySettings(knob=1.0))
    plant.advance(10.0)
    assert plant.current_a == 0.0
    plant.change(10.0, plant.contactor.hold_closed)
    assert plant.current_a == 0.0
    assert plant.mains is not None
    plant.change(10.0, plant.mains.hold_closed)
    assert plant.current_a > 100.0


def test_current_is_what_the_circuit_says(hut_settings: SupervisorSettings) -> None:
    """Source, droop and bank resistance in series; equal cells rest at their EMF."""
    plant = closed_plant(hut_settings)
    emf_v = 3.27807  # open BPX LFP example set, half full
    expected_a = (5.0 - emf_v) / (0.015 + plant.bank.ladder.volts_per_ampere[0])
    assert plant.current_a == pytest.approx(expected_a, rel=1e-4)
    assert sum(plant.bank.amperes) == pytest.approx(plant.current_a)
    assert plant.cell_v(0) == pytest.approx(5.0 - 0.015 * plant.current_a)


def test_front_cells_run_ahead_while_charging(hut_settings: SupervisorSettings) -> None:
    plant = closed_plant(hut_settings)
    assert plant.bank.volts == sorted(plant.bank.volts, reverse=True)
    assert plant.max_cell_v == plant.cell_v(0) > plant.cell_v(-1)


@settings(max_examples=20, deadline=None)
@given(
    st.floats(min_value=0.1, max_value=0.99),
    st.lists(st.floats(min_value=-0.05, max_value=0.05), max_size=4),
    st.floats(min_value=0.7, max_value=1.0),
)
def test_charge_is_conserved(
    hut_settings: SupervisorSettings, soc: float, offsets: list[float], knob: float
) -> None:
    cells = CellsSettings(state_of_charge=soc, state_of_charge_offsets=tuple(offsets))
    plant = closed_plant(hut_settings, cells, SupplySettings(knob=knob))
    total_ah = sum(plant.bank.capacities_ah)
    before = plant.soc
    plant.advance(300.0)
    plant.change(300.0, lambda: None)
    assert (plant.soc - before) * total_ah == pytest.approx(plant.charge_ah, abs=1e-6)


def test_energy_in_is_energy_stored_and_lost(hut_settings: SupervisorSettings) -> None:
    """Every instant: what the feed brings goes into EMFs, cell and link resistance."""
    plant = closed_plant(hut_settings, CellsSettings(state_of_charge_offsets=(0.0, 0.01, -0.02)))
    plant.advance(100.0)
    bank = plant.bank
    rung_ohm = 0.25e-3 / 8
    stored_w = sum(e * i for e, i in zip(bank.emfs_v, bank.amperes, strict=True))
    lost_w = sum(i * i * rung_ohm for i in bank.amperes)
    lost_w += sum((a - b) ** 2 / 0.02e-3 for a, b in pairwise(bank.volts))
    assert plant.cell_v(0) * plant.current_a == pytest.approx(stored_w + lost_w)


def test_step_size_does_not_matter(hut_settings: SupervisorSettings) -> None:
    """Through the knee: the plant's own steps against steps forced every 10 ms."""
    cells = CellsSettings(state_of_charge=0.995)
    coarse, fine = closed_plant(hut_settings, cells), closed_plant(hut_settings, cells)
    coarse.advance(120.0)
    for k in range(12001):
        fine.change(k / 100, lambda: None)
    assert coarse.solutions < fine.solutions / 5
    assert coarse.cell_v(0) == pytest.approx(fine.cell_v(0), abs=2e-4)


def test_voltage_falls_as_soon_as_the_current_stops(hut_settings: SupervisorSettings) -> None:
    plant = closed_plant(hut_settings, CellsSettings(state_of_charge=0.6))
    plant.advance(600.0)
    loaded_v, amperes = plant.cell_v(0), plant.current_a
    plant.change(600.0, plant.contactor.mend)
    at_once_v = plant.cell_v(0)
    assert plant.current_a == 0.0
    assert loaded_v - at_once_v == pytest.approx(
        amperes * plant.bank.ladder.volts_per_ampere[0], rel=1e-2
    )
    plant.advance(1200.0)
    assert plant.cell_v(0) < at_once_v - 1e-4  # and relaxes for minutes after


def test_flat_for_hours_then_away_within_minutes(hut_settings: SupervisorSettings) -> None:
    plant = closed_plant(hut_settings, CellsSettings(state_of_charge=0.9))
    volts = []
    for hour in range(10):
        plant.advance(hour * 3600.0)
        volts.append(plant.cell_v(0))
    assert max(abs(b - a) for a, b in pairwise(volts[1:7])) < 0.005
    assert volts[-1] > 3.65


def hold_s(hut: SupervisorSettings, link_mohm: float, offsets: tuple[float, ...]) -> float:
    """Seconds at 3.55 V, held by hand on the knob, until the current is down to 20 A."""
    cells = CellsSettings(
        state_of_charge=0.98, state_of_charge_offsets=offsets, link_milliohms=link_mohm
    )
    plant = closed_plant(hut, cells)
    at_s = 0.0
    while plant.cell_v(0) < 3.55:
        at_s += 10.0
        plant.advance(at_s)
    start_s = at_s
    while plant.current_a > 20.0:
        at_s += 10.0
        knob = plant.supply.knob(at_s) + 0.05 * (3.55 - plant.cell_v(0))
        plant.turn_knob(min(max(knob, 0.0), 1.0), at_s)
    return at_s - start_s


def test_the_hold_lasts_hours_only_where_cells_differ(hut_settings: SupervisorSettings) -> None:
    """One cell's taper lasts minutes; redistribution along poor joints takes hours."""
    assert hold_s(hut_settings, 0.02, ()) < 1800
    assert hold_s(hut_settings, 1.0, (0.0, 0.0, -0.05, -0.1)) > 2 * 3600


def test_after_opening_the_full_cells_feed_the_others(hut_settings: SupervisorSettings) -> None:
    plant = closed_plant(hut_settings, CellsSettings(state_of_charge=0.98, link_milliohms=0.3))
    plant.advance(5000.0)
    plant.change(5000.0, plant.contactor.mend)
    gap = plant.bank.socs[0] - plant.bank.socs[-1]
    assert gap > 0
    assert plant.bank.amperes[0] < 0 < plant.bank.amperes[-1]
    plant.advance(5600.0)
    assert plant.bank.socs[0] - plant.bank.socs[-1] < gap


def test_an_open_link_sends_all_current_into_fewer_cells(
    hut_settings: SupervisorSettings,
) -> None:
    plant = closed_plant(hut_settings, CellsSettings(groups=4))
    plant.advance(1.0)
    plant.change(1.0, lambda: plant.bank.open_link(1))
    assert plant.bank.amperes[0] == pytest.approx(plant.current_a)
    assert sum(plant.bank.amperes[1:]) == pytest.approx(0.0, abs=1e-6)
    plant.change(2.0, plant.bank.close_links)
    assert plant.bank.amperes[-1] > 1.0
    with pytest.raises(ValueError, match="no link behind group 4"):
        plant.bank.open_link(4)


def test_the_rectifier_lets_nothing_back_unless_it_failed(
    hut_settings: SupervisorSettings,
) -> None:
    plant = closed_plant(hut_settings, supply=SupplySettings(knob=0.5))
    assert plant.current_a == 0.0
    plant.change(1.0, lambda: setattr(plant.supply, "reverse_ohm", 0.1))
    assert plant.current_a == pytest.approx((2.5 - 3.27807) / 0.1, rel=1e-2)
    plant.mains = None
    plant.change(2.0, lambda: setattr(plant.supply, "sag_factor", 0.0))
    assert plant.current_a == pytest.approx(-3.27807 / 0.1, rel=1e-2)


def test_the_knob_turns_evenly(hut_settings: SupervisorSettings) -> None:
    plant = closed_plant(hut_settings, supply=SupplySettings(knob=0.8))
    plant.turn_knob(1.0, at_s=10.0, over_s=20.0)
    positions = []
    for at_s in (10.0, 15.0, 30.0, 100.0):
        plant.advance(at_s)
        positions.append(plant.supply.knob(at_s))
    assert positions == pytest.approx([0.8, 0.85, 1.0, 1.0])
    with pytest.raises(ValueError, match="knob"):
        plant.turn_knob(1.1, at_s=100.0)


def test_peak_includes_the_ripple_and_never_falls(hut_settings: SupervisorSettings) -> None:
    plant = closed_plant(hut_settings, supply=SupplySettings(knob=1.0, ripple_percent=50))
    ripple_v = 0.5 * plant.current_a * plant.bank.ladder.volts_per_ampere[0]
    assert plant.peak_cell_v == pytest.approx(plant.cell_v(0) + ripple_v)
    plant.change(1.0, plant.contactor.mend)
    peak_v = plant.peak_cell_v
    plant.advance(100.0)
    assert plant.max_cell_v < peak_v == plant.peak_cell_v


def test_what_if_nobody_had_opened(hut_settings: SupervisorSettings) -> None:
    plant = closed_plant(hut_settings, CellsSettings(state_of_charge=0.998))
    plant.advance(10.0)
    plant.change(10.0, plant.contactor.mend)
    before = (plant.cell_v(0), plant.soc, plant.peak_cell_v, plant.solutions)
    course = plant.unprotected(for_s=1800.0, every_s=60.0)
    assert len(course) == 30
    assert course[-1][0] == 1800.0
    assert [volts for _, volts in course] == sorted(volts for _, volts in course)
    assert course[-1][1] > 3.65
    assert (plant.cell_v(0), plant.soc, plant.peak_cell_v, plant.solutions) == before
    assert not plant.contactor_closed


def test_polarisation_is_the_exact_exponential(hut_settings: SupervisorSettings) -> None:
    """One RC pair a cell: after a time constant 1 - 1/e of R I has built up."""
    cells = CellsSettings(groups=1, relaxation_milliohms=10, relaxation_seconds=60)
    plant = closed_plant(hut_settings, cells)
    amperes = plant.current_a
    emf_v = plant.bank.emfs_v[0]
    plant.advance(60.0)
    plant.change(60.0, lambda: None)
    built_v = plant.bank.emfs_v[0] - emf_v
    full_v = 10e-3 / 32 * amperes
    assert built_v == pytest.approx(full_v * (1 - math.exp(-1)), rel=0.03)


def test_too_many_values_for_the_groups_are_refused() -> None:
    with pytest.raises(ValueError, match="capacity_factors has more values than there are groups"):
        CellsSettings(groups=2, capacity_factors=(1.0, 1.0, 0.9))
