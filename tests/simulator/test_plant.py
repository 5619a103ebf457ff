"""The plant: circuit, charge, energy, the steps it takes, and that the same seed is the same."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from simple_supply import SimpleSupply

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.ladder import OPEN_OHM
from supervisor.simulator.parts.cells import CellsSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.plant import Plant

SPREAD = CellsSettings(
    state_of_charge=0.6,
    state_of_charge_spread=0.02,
    capacity_spread_percent=2,
    resistance_spread_percent=8,
)


def charging(
    hut: SupervisorSettings,
    cells: CellsSettings | None = None,
    supply: SimpleSupply | None = None,
    seed: int = 1,
) -> Plant:
    """Contactor and mains closed for good at time 0; 5 V behind 15 milliohms."""
    plant = Plant(hut, PlantSettings(cells=cells or CellsSettings()), seed=seed)
    plant.supply = supply or SimpleSupply()
    plant.change(0.0, plant._close_for_good)
    return plant


def charged_v(plant: Plant, hours: float, every_s: float = 600.0) -> Iterator[float]:
    for k in range(1, round(hours * 3600 / every_s) + 1):
        plant.advance(k * every_s)
        yield plant.cell_v(0)


# --- circuit


def test_nothing_flows_until_contactor_and_mains_are_closed(
    hut_settings: SupervisorSettings,
) -> None:
    plant = Plant(hut_settings, PlantSettings())
    plant.supply = SimpleSupply()
    plant.advance(10.0)
    assert plant.current_a == 0.0
    plant.change(10.0, plant.contactor.hold_closed)
    assert plant.current_a == 0.0
    assert plant.mains is not None
    plant.change(10.0, plant.mains.hold_closed)
    assert plant.current_a > 100.0


def test_current_is_what_the_circuit_says(hut_settings: SupervisorSettings) -> None:
    """Source, droop and bank resistance in series; equal cells rest at their EMF."""
    plant = charging(hut_settings)
    emf_v = 3.27807  # open BPX LFP example set, half full
    expected_a = (5.0 - emf_v) / (0.015 + plant.bank.ladder.feed_ohm)
    assert plant.current_a == pytest.approx(expected_a, rel=1e-9)
    assert sum(plant.bank.amperes) == pytest.approx(plant.current_a)
    assert plant.cell_v(0) == pytest.approx(5.0 - 0.015 * plant.current_a)


def test_front_cells_run_ahead_while_charging(hut_settings: SupervisorSettings) -> None:
    """By the drop of the bars; with even shares 15.5 links of both rails, 30 microohms."""
    plant = charging(hut_settings)
    assert (np.diff(plant.bank.volts) < 0).all()
    assert plant.max_cell_v == plant.cell_v(0)

    def drop_ohm() -> float:
        return (plant.cell_v(0) - plant.cell_v(-1)) / plant.current_a

    assert drop_ohm() == pytest.approx(18e-6, rel=0.03)  # at first the front cells take more
    plant.advance(6 * 3600.0)
    assert drop_ohm() == pytest.approx(30e-6, rel=0.05)  # later they are ahead in charge as well


def test_voltage_falls_as_soon_as_the_current_stops(hut_settings: SupervisorSettings) -> None:
    plant = charging(hut_settings)
    plant.advance(600.0)
    loaded_v, amperes = plant.cell_v(0), plant.current_a
    plant.change(600.0, plant.contactor.mend)
    at_once_v = plant.cell_v(0)
    assert plant.current_a == 0.0
    rise_ohm = plant.bank.ladder.volts_per_ampere[0]
    assert loaded_v - at_once_v == pytest.approx(amperes * rise_ohm, rel=1e-3)
    plant.advance(1200.0)
    assert plant.cell_v(0) < at_once_v - 1e-4  # and relaxes for minutes after


def test_the_rectifier_lets_nothing_back_unless_it_failed(
    hut_settings: SupervisorSettings,
) -> None:
    plant = charging(hut_settings, supply=SimpleSupply(open_v=2.5))
    assert plant.current_a == 0.0
    plant.change(1.0, lambda: setattr(plant.supply, "reverse_ohm", 0.1))
    assert plant.current_a == pytest.approx((2.5 - 3.27807) / 0.1, rel=1e-2)


def test_peak_includes_the_ripple_and_never_falls(hut_settings: SupervisorSettings) -> None:
    plant = charging(hut_settings, supply=SimpleSupply(ripple=0.5))
    ripple_v = 0.5 * plant.current_a * plant.bank.ladder.volts_per_ampere[0]
    assert plant.peak_cell_v == pytest.approx(plant.cell_v(0) + ripple_v)
    assert plant.cell_ripple_v(0) == pytest.approx(ripple_v)
    plant.change(1.0, plant.contactor.mend)
    peak_v = plant.peak_cell_v
    plant.advance(100.0)
    assert plant.max_cell_v < peak_v == plant.peak_cell_v


def test_what_if_nobody_had_opened(hut_settings: SupervisorSettings) -> None:
    plant = charging(hut_settings, CellsSettings(state_of_charge=0.998))
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


# --- charge and energy


@settings(max_examples=10, deadline=None)
@given(
    st.floats(min_value=0.1, max_value=0.99),
    st.lists(st.floats(min_value=-0.05, max_value=0.05), max_size=32),
    st.floats(min_value=3.3, max_value=5.0),
    st.sampled_from(["one_end", "both_ends", "diagonal"]),
)
def test_charge_is_conserved(
    hut_settings: SupervisorSettings, soc: float, offsets: list[float], open_v: float, feed: str
) -> None:
    cells = {"state_of_charge": soc, "state_of_charge_offsets": tuple(offsets), "feed": feed}
    plant = charging(hut_settings, CellsSettings.model_validate(cells), SimpleSupply(open_v=open_v))
    total_ah = sum(plant.bank.capacities_ah)
    before = plant.soc
    plant.advance(300.0)
    plant.change(300.0, lambda: None)
    assert (plant.soc - before) * total_ah == pytest.approx(plant.charge_ah, abs=1e-9)


def test_energy_in_is_energy_stored_and_lost(hut_settings: SupervisorSettings) -> None:
    """At any instant what the feed brings goes into EMFs, cell and link resistance."""
    plant = charging(hut_settings, CellsSettings(state_of_charge_offsets=(0.0, 0.01, -0.02)))
    plant.advance(100.0)
    plant.change(100.0, lambda: None)
    bank = plant.bank
    onward_a = plant.current_a - np.cumsum(bank.amperes)[:-1]
    lost_w = bank.amperes @ bank.amperes * 0.25e-3 + onward_a @ onward_a * 2 * 0.95e-6
    stored_w = bank.emfs_v @ bank.amperes
    assert plant.cell_v(0) * plant.current_a == pytest.approx(stored_w + lost_w)


# --- steps


@pytest.mark.parametrize("charge", [0.9885, 0.995])
def test_its_own_steps_are_fine_enough(hut_settings: SupervisorSettings, charge: float) -> None:
    """Into the knee: against steps forced every 0.1 s, at and between solutions."""
    cells = SPREAD.model_copy(update={"state_of_charge": charge})
    coarse, fine = charging(hut_settings, cells), charging(hut_settings, cells)
    worst_v = worst_a = 0.0
    for k in range(1, 1501):
        fine.change(k / 10, lambda: None)
        if k % 17 == 0:
            coarse.advance(k / 10)
            worst_v = max(worst_v, abs(coarse.cell_v(0) - fine.cell_v(0)))
            worst_v = max(worst_v, abs(coarse.cell_v(-1) - fine.cell_v(-1)))
            worst_a = max(worst_a, abs(coarse.current_a - fine.current_a))
    assert coarse.solutions < fine.solutions / 4
    assert worst_v < 50e-6
    assert worst_a < 0.01


def test_half_the_steps_bring_the_same(hut_settings: SupervisorSettings) -> None:
    """Hours through the flat part and into the knee, with an extra solution in every step."""
    whole, halved = charging(hut_settings, SPREAD), charging(hut_settings, SPREAD)
    at_s = 0.0
    while halved.cell_v(0) < 3.6:
        halved.change((halved._now_s + halved._next_s) / 2, lambda: None)
        at_s = halved._now_s
    whole.advance(at_s)
    assert at_s > 8 * 3600
    assert whole.cell_v(0) == pytest.approx(halved.cell_v(0), abs=100e-6)
    assert whole.charge_ah == pytest.approx(halved.charge_ah, rel=1e-6)


def test_a_turn_of_the_knob_is_followed(hut_settings: SupervisorSettings) -> None:
    """Through the onset of conduction, up and down: against 2 ms steps."""
    coarse, fine = (charging(hut_settings, supply=SimpleSupply(knob=0.5)) for _ in range(2))
    for plant in (coarse, fine):
        plant.turn_knob(0.9, 1.0, 3.0)
    for k in range(500, 2200):
        fine.change(k / 500, lambda: None)
        if k % 7 == 0:
            coarse.advance(k / 500)
            assert coarse.current_a == pytest.approx(fine.current_a, abs=0.2)
            assert coarse.cell_v(0) == pytest.approx(fine.cell_v(0), abs=50e-6)
    assert coarse.current_a > 80
    assert coarse.solutions < 200


@pytest.mark.parametrize("over_s", [0.0, 1e-200, 1e-9, 1e-3])
def test_a_sudden_turn_is_sudden(hut_settings: SupervisorSettings, over_s: float) -> None:
    """However short: not smeared over the plant's own next step."""
    plant = charging(hut_settings, supply=SimpleSupply(knob=0.0))
    plant.advance(3000.0)
    plant.turn_knob(0.9, 3000.0, over_s)
    plant.advance(3000.02)
    assert plant.current_a == pytest.approx((4.5 - 3.27807) / 0.015, rel=0.01)


def test_between_solutions_it_does_not_jump(hut_settings: SupervisorSettings) -> None:
    near = {"state_of_charge": 0.987, "state_of_charge_spread": 0.002}
    plant = charging(hut_settings, SPREAD.model_copy(update=near))
    volts = list(charged_v(plant, hours=1.5, every_s=1.0))
    steps = np.diff(volts)
    assert max(volts) > 3.4
    assert np.abs(np.diff(steps)).max() < 100e-6


def test_long_steps_where_it_is_flat(hut_settings: SupervisorSettings) -> None:
    plant = charging(hut_settings, SPREAD)
    plant.advance(3600.0)
    before = plant.solutions
    plant.advance(7200.0)
    assert plant.solutions - before <= 60


# --- seed


def fingerprint(plant: Plant) -> tuple[object, ...]:
    plant.advance(5000.0)
    plant.turn_knob(0.8, 5000.0, 2.0)
    plant.advance(9000.0)
    return (*plant.bank.socs.tolist(), plant.cell_v(0), plant.current_a, plant.solutions)


def test_same_seed_same_run_to_the_bit(hut_settings: SupervisorSettings) -> None:
    one, again, other = (charging(hut_settings, SPREAD, seed=seed) for seed in (5, 5, 6))
    assert fingerprint(one) == fingerprint(again)
    assert fingerprint(one) != fingerprint(other)


def test_a_twin_goes_the_same_way(hut_settings: SupervisorSettings) -> None:
    plant = charging(hut_settings, SPREAD)
    plant.advance(1000.0)
    twin = plant.twin()
    assert fingerprint(twin) == fingerprint(plant)


# --- settings that do not fit


def test_too_many_values_for_the_cells_are_refused(hut_settings: SupervisorSettings) -> None:
    with pytest.raises(ValueError, match="capacity_factors has 33 values, but the bank has 32"):
        Plant(hut_settings, PlantSettings(cells=CellsSettings(capacity_factors=(1.0,) * 33)))


def test_an_open_link_sends_all_current_into_fewer_cells(
    hut_settings: SupervisorSettings,
) -> None:
    plant = charging(hut_settings)
    plant.advance(1.0)
    plant.change(1.0, lambda: plant.bank.set_link("minus", 1, OPEN_OHM))
    assert plant.bank.amperes[0] == pytest.approx(plant.current_a, rel=1e-3)
    assert np.abs(plant.bank.amperes[1:]).max() < 0.1
    plant.change(2.0, lambda: plant.bank.set_link("minus", 1))
    assert plant.bank.amperes[-1] > 1.0
    assert all(a >= b for a, b in pairwise(plant.bank.volts))
    with pytest.raises(ValueError, match="no link behind cell 32"):
        plant.bank.set_link("plus", 32, OPEN_OHM)
