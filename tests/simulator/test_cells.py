"""Single cells and small banks against published figures and scipy; broken cells."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from supervisor.settings.model import Bank as BankSettings
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.bank import Bank
from supervisor.simulator.chemistry import load_chemistry
from supervisor.simulator.ladder import OPEN_OHM, Ladder
from supervisor.simulator.parts.cells import CellsSettings

Floats = NDArray[np.float64]


def rating(hut: SupervisorSettings, cells: int, ampere_hours: float) -> BankSettings:
    return hut.bank.model_copy(
        update={"cells_in_parallel": cells, "cell_ampere_hours": ampere_hours}
    )


def go(bank: Bank, seconds: float, feed: Callable[[Bank], float], step_s: float) -> None:
    for _ in range(round(seconds / step_s)):
        amperes = feed(bank)
        bank.feed(amperes)
        bank.arrive(bank.ahead(step_s, lambda _v, _ohm, a=amperes: a))  # type: ignore[misc]
    bank.feed(feed(bank))


# Lumped cell, 100 Ah, Prada2013 curve, R1 0.5 mOhm, C1 20 kF, from SOC 0.1: PyBaMM's Thevenin
# model and SciPy agree on every digit.
@pytest.mark.parametrize(
    ("mohm", "amperes", "limit_v", "end_a", "hours", "soc", "taper_min", "end_soc"),
    [
        (1, 10, 3.6, 5, 8.9948, 0.99948, 0.182, 0.99970),
        (1, 100 / 3, 3.6, 5, 2.6945, 0.99816, 0.654, 0.99968),
        (3, 100 / 3, 3.6, 5, 2.6849, 0.99497, 1.679, 0.99937),
        (1, 10, 3.45, 1, 8.9174, 0.99174, 1.605, 0.99275),
    ],
)
def test_one_cell_charges_as_published(
    hut_settings: SupervisorSettings,
    mohm: float,
    amperes: float,
    limit_v: float,
    end_a: float,
    hours: float,
    soc: float,
    taper_min: float,
    end_soc: float,
) -> None:
    cell = CellsSettings(
        chemistry="prada-2013",
        state_of_charge=0.1,
        resistance_milliohms=mohm,
        relaxation_milliohms=0.5,
        relaxation_seconds=10,
        diffusion_milliohms=0,
    )
    bank = Bank(cell, rating(hut_settings, 1, 100.0))
    now_s, step_s = 0.0, 30.0
    bank.feed(amperes)
    while bank.volts[0] < limit_v:
        ahead = bank.ahead(step_s, lambda _v, _ohm: amperes)
        if ahead.volts[0] > limit_v and step_s > 0.1:
            step_s /= 4
            continue
        bank.arrive(ahead)
        bank.feed(amperes)
        now_s += step_s
    reached_s = now_s
    assert now_s / 3600 == pytest.approx(hours, abs=2e-3)
    assert bank.soc == pytest.approx(soc, abs=1e-4)

    step_s = 0.1
    while bank.amperes[0] > end_a:
        bank.arrive(bank.ahead(step_s, lambda rest_v, ohm: (limit_v - rest_v) / ohm))
        rest_v = bank.ladder.rest_v(bank.emfs_v)
        bank.feed((limit_v - rest_v) / bank.ladder.feed_ohm)
        now_s += step_s
    assert (now_s - reached_s) / 60 == pytest.approx(taper_min, abs=0.02)
    assert bank.soc == pytest.approx(end_soc, abs=1e-4)


def test_a_whole_small_bank_agrees_with_scipy(hut_settings: SupervisorSettings) -> None:
    """Four unequal cells on a diagonal feed into the knee: curve, both RC pairs, currents."""
    settings = CellsSettings(
        state_of_charge=0.975,
        state_of_charge_offsets=(0.01, 0.0, -0.01, 0.005),
        capacity_factors=(1.0, 0.95, 1.05, 1.0),
        link_microohms=50,
        feed="diagonal",
    )
    bank = Bank(settings, rating(hut_settings, 4, 100.0))
    curve, coulombs = load_chemistry("bpx-lfp").curve(), bank.capacities_ah * 3600
    start, ladder = bank.socs.copy(), bank.ladder

    def slope(_t: float, state: Floats) -> Floats:
        socs, fast_v, slow_v = state.reshape(3, 4)
        currents = ladder.solve(curve.at(socs)[0] + fast_v + slow_v, 120.0)[1]
        return np.concatenate(
            [
                currents / coulombs,
                (0.15e-3 * currents - fast_v) / 60,
                (0.1e-3 * currents - slow_v) / 1200,
            ]
        )

    state = np.concatenate([start, np.zeros(8)])
    exact = solve_ivp(slope, (0, 200), state, method="Radau", rtol=1e-9, atol=1e-12).y[:, -1]
    go(bank, 200.0, lambda _bank: 120.0, step_s=1.0)
    assert bank.socs == pytest.approx(exact[:4], abs=5e-7)
    emfs_v = curve.at(exact[:4])[0] + exact[4:8] + exact[8:]
    assert bank.emfs_v == pytest.approx(emfs_v, abs=20e-6)


@pytest.mark.parametrize(("name", "seconds"), [("relaxation", 60.0), ("diffusion", 1200.0)])
def test_polarisation_is_the_exact_exponential(
    hut_settings: SupervisorSettings, name: str, seconds: float
) -> None:
    """After a time constant 1 - 1/e of R I has built up, in one step as in many."""
    still = {"relaxation_milliohms": 0.0, "diffusion_milliohms": 0.0, f"{name}_milliohms": 10.0}
    for step_s in (seconds, seconds / 16):
        bank = Bank(CellsSettings(**still), rating(hut_settings, 1, 1e6))  # type: ignore[arg-type]
        emf_v = bank.emfs_v[0]
        go(bank, seconds, lambda _bank: 10.0, step_s)
        built_v = bank.emfs_v[0] - emf_v
        assert built_v == pytest.approx(10e-3 * 10 * (1 - np.exp(-1)), rel=1e-5)


def test_energy_is_stored_lost_and_nothing_else(hut_settings: SupervisorSettings) -> None:
    """Over an hour: fed = stored in the curve + in the RC pairs + lost in each resistance."""
    settings = CellsSettings(state_of_charge=0.3, state_of_charge_offsets=(0.02, -0.01))
    bank = Bank(settings, rating(hut_settings, 2, 50.0))
    curve, before = load_chemistry("bpx-lfp").curve(), bank.socs.copy()
    fed_j = lost_j = 0.0
    for _ in range(3600):
        go(bank, 1.0, lambda _bank: 40.0, 1.0)
        fed_j += bank.ladder.feed_ohm * 40.0**2 + bank.ladder.rest_v(bank.emfs_v) * 40.0
        lost_j += bank.amperes @ (bank.volts - bank.emfs_v)
        lost_j += (40.0 - bank.amperes[0]) ** 2 * 2 * 0.95e-6
        lost_j += bank._fast_v @ bank._fast_v / 0.15e-3 + bank._slow_v @ bank._slow_v / 0.1e-3
    in_pairs_j = (bank._fast_v @ bank._fast_v) * 60 / 0.15e-3 / 2
    in_pairs_j += (bank._slow_v @ bank._slow_v) * 1200 / 0.1e-3 / 2
    stored_j = 0.0
    for start, end, ah in zip(before, bank.socs, bank.capacities_ah, strict=True):
        path = np.linspace(start, end, 4001)
        stored_j += np.trapezoid(curve.at(path)[0], path) * ah * 3600
    assert stored_j + in_pairs_j + lost_j == pytest.approx(fed_j, rel=2e-5)


# --- broken cells and bars


def resting(hut: SupervisorSettings, **cells: object) -> Bank:
    return Bank(CellsSettings.model_validate({"state_of_charge": 0.6, **cells}), hut.bank)


def test_a_shorted_cell_drains_itself_and_its_neighbours(hut_settings: SupervisorSettings) -> None:
    bank = resting(hut_settings)
    before = bank.socs.copy()
    bank.set_leak(5, 0.1)
    go(bank, 7200.0, lambda _bank: 0.0, 60.0)
    drained_ah = (before - bank.socs) @ bank.capacities_ah
    assert drained_ah == pytest.approx(3.28 / 0.1 * 2, rel=0.01)  # 2 h at its voltage
    assert (bank.socs < before).all()
    assert bank.socs.argmin() == 4
    bank.set_leak(5)
    bank.feed(0.0)
    assert sum(bank.amperes) == pytest.approx(0.0, abs=1e-6)


def test_a_dead_cell_takes_nothing_and_the_others_more(hut_settings: SupervisorSettings) -> None:
    bank = resting(hut_settings)
    bank.set_dead(1, True)
    bank.feed(310.0)
    assert bank.amperes[0] == 0.0
    assert sum(bank.amperes) == pytest.approx(310.0)
    assert bank.volts[0] > bank.volts[1] > bank.emfs_v[1]  # its terminals are at the bars' voltage
    before = bank.socs[0]
    go(bank, 600.0, lambda _bank: 310.0, 60.0)
    assert bank.socs[0] == before
    bank.set_dead(1, False)
    bank.feed(310.0)
    assert bank.amperes[0] > 10.0


def test_all_cells_dead_is_an_open_feed(hut_settings: SupervisorSettings) -> None:
    bank = resting(hut_settings)
    for cell in range(1, 33):
        bank.set_dead(cell, True)
    assert not bank.ladder.fed
    ahead = bank.ahead(60.0, lambda _v, _ohm: pytest.fail("nothing to feed"))
    assert ahead.feed_a == 0.0


def test_a_poor_joint_makes_the_far_part_lag(hut_settings: SupervisorSettings) -> None:
    bank = resting(hut_settings)
    bank.set_link("minus", 16, 1e-3)
    bank.feed(200.0)
    behind_a = bank.amperes[16:].sum()
    assert behind_a < 10.0
    assert bank.volts[15] - bank.volts[16] == pytest.approx(behind_a * (1e-3 + 0.95e-6), rel=1e-6)


def test_both_rails_cut_leave_two_banks(hut_settings: SupervisorSettings) -> None:
    bank = resting(hut_settings)
    for rail in ("plus", "minus"):
        bank.set_link(rail, 8, OPEN_OHM)  # type: ignore[arg-type]
    go(bank, 600.0, lambda _bank: 80.0, 60.0)
    assert bank.socs[8:] == pytest.approx(np.full(24, 0.6), abs=1e-12)
    assert (bank.socs[:8] - 0.6) @ bank.capacities_ah[:8] == pytest.approx(80 / 6)


@pytest.mark.parametrize("cell", [0, 33])
def test_a_cell_that_is_not_there(hut_settings: SupervisorSettings, cell: int) -> None:
    with pytest.raises(ValueError, match=rf"no cell {cell}: cells are 1 \(front\) to 32"):
        resting(hut_settings).set_dead(cell, True)


# --- spread and warmth


def test_spread_is_as_wide_as_said_and_clipped(hut_settings: SupervisorSettings) -> None:
    settings = CellsSettings(state_of_charge_spread=0.02, capacity_spread_percent=3)
    drawn = [Bank(settings, rating(hut_settings, 32, 100.0), seed) for seed in range(16)]
    socs = np.concatenate([bank.socs for bank in drawn]) - 0.5
    capacities = np.concatenate([bank.capacities_ah for bank in drawn]) / 100 - 1
    assert np.std(socs) == pytest.approx(0.02, rel=0.1)
    assert np.std(capacities) == pytest.approx(0.03, rel=0.1)
    assert np.abs(socs).max() <= 0.06 + 1e-12
    assert np.abs(capacities).max() <= 0.09 + 1e-12
    assert abs(np.corrcoef(socs, capacities)[0, 1]) < 0.15


def test_cold_cells_resist_more(hut_settings: SupervisorSettings) -> None:
    """From the next solution on: 20 kJ/mol between 25 and 5 degrees is 1.786."""
    bank = resting(hut_settings)
    links = [0.95e-6] * 31
    warm, cold = (Ladder([0.25e-3 * factor] * 32, links, links) for factor in (1, 1.786))
    bank.celsius = 5.0
    assert bank.ladder.feed_ohm == pytest.approx(warm.feed_ohm)
    bank.settle()
    assert bank.ladder.feed_ohm == pytest.approx(cold.feed_ohm, rel=1e-3)
