"""What everybody who charges such a bank sees. Common practice, no source."""

import numpy as np
import pytest
from simple_supply import SimpleSupply

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.parts.cells import CellsSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.plant import Plant

HOUR_S = 3600.0
LIMIT_V = 3.55
NEARLY_NOTHING_A = 5.0


def connected(
    hut: SupervisorSettings, supply: SimpleSupply, cells: dict[str, object], count: int = 32
) -> Plant:
    bank = hut.bank.model_copy(update={"cells_in_parallel": count})
    settings = PlantSettings(cells=CellsSettings.model_validate(cells))
    plant = Plant(hut.model_copy(update={"bank": bank}), settings)
    plant.supply = supply
    plant.change(0.0, plant._close_for_good)
    return plant


def held_by_hand(plant: Plant, at_s: float, down: list[float]) -> float:
    """Looks every minute; down a little whenever the limit is passed, until hardly any flows."""
    while plant.current_a > NEARLY_NOTHING_A and at_s < 60 * HOUR_S:
        at_s += 60.0
        plant.advance(at_s)
        if plant.cell_v(0) > LIMIT_V:
            knob = plant.supply.knob(at_s) - 0.008
            plant.turn_knob(max(knob, 0.0), at_s)
            down.append(at_s)
    return at_s


def to_the_limit_s(plant: Plant, step_s: float) -> float:
    at_s = 0.0
    while plant.cell_v(0) < LIMIT_V:
        at_s += step_s
        plant.advance(at_s)
    return at_s


@pytest.mark.parametrize("charge", [0.15, 0.3, 0.5])
def test_a_part_charged_bank_rests_near_three_point_two(
    hut_settings: SupervisorSettings, charge: float
) -> None:
    plant = Plant(hut_settings, PlantSettings(cells=CellsSettings(state_of_charge=charge)))
    plant.advance(10 * HOUR_S)
    assert 3.19 <= plant.cell_v(0) <= 3.3


def test_a_big_bank_at_two_hundred_amperes_shows_some_three_point_three_seven(
    hut_settings: SupervisorSettings,
) -> None:
    """A quarter of the hut's cells, the last flat part."""
    plant = connected(hut_settings, SimpleSupply(), {"state_of_charge": 0.8}, count=8)
    plant.supply.open_v = 3.4 + 200 * plant.supply.ohm  # type: ignore[attr-defined]
    plant.advance(HOUR_S)
    assert plant.current_a == pytest.approx(200, rel=0.03)
    assert plant.cell_v(0) == pytest.approx(3.37, abs=0.04)


def test_little_until_nine_tenths_then_fast(hut_settings: SupervisorSettings) -> None:
    plant = connected(hut_settings, SimpleSupply(), {"state_of_charge": 0.3})
    volts: dict[float, float] = {}
    at_s = 0.0
    while plant.cell_v(0) < 3.6:
        at_s += 300.0
        plant.advance(at_s)
        volts[plant.soc] = plant.cell_v(0)
    socs, seen = np.array(list(volts)), np.array(list(volts.values()))
    assert seen[socs < 0.9].max() - seen[0] < 0.08
    per_hour = np.diff(seen) * 12
    assert per_hour[-1] > 50 * np.median(per_hour)
    assert socs[seen > 3.4].min() > 0.97


def test_the_knob_must_come_down_again_and_again(hut_settings: SupervisorSettings) -> None:
    plant = connected(hut_settings, SimpleSupply(), {"state_of_charge": 0.95})
    at_s = to_the_limit_s(plant, 60.0)
    down: list[float] = []
    before_a = plant.current_a
    held_by_hand(plant, at_s, down)
    assert len(down) > 10
    assert before_a > 80
    assert plant.current_a <= NEARLY_NOTHING_A


def test_far_cells_lag_by_the_bars_and_want_hours_more(hut_settings: SupervisorSettings) -> None:
    """Bars with real joints, 60 microohms a link: the hold is hours; with stout ones far less."""
    held_s = {}
    for microohms in (1.0, 60.0):
        cells = {"state_of_charge": 0.95, "link_microohms": microohms}
        plant = connected(hut_settings, SimpleSupply(), cells)
        at_s = to_the_limit_s(plant, 60.0)
        drop_v = 2e-6 * microohms * sum(plant.current_a - np.cumsum(plant.bank.amperes)[:-1])
        assert plant.cell_v(0) - plant.cell_v(-1) == pytest.approx(drop_v, abs=2e-3)
        held_s[microohms] = held_by_hand(plant, at_s, []) - at_s
    assert held_s[1.0] < 2 * HOUR_S
    assert 2 * HOUR_S < held_s[60.0] < 20 * HOUR_S


def test_a_day_by_the_big_supply_and_weeks_by_a_small_one(
    hut_settings: SupervisorSettings,
) -> None:
    """32 cells of 280 Ah from half: 4480 Ah."""
    days = {}
    for name, supply in (
        ("big", SimpleSupply(open_v=6.5)),
        ("bench", SimpleSupply(open_v=LIMIT_V + 0.05)),
    ):
        if name == "bench":
            supply.most_a = 10.0
        plant = connected(hut_settings, supply, {"state_of_charge": 0.5})
        days[name] = to_the_limit_s(plant, 1800.0) / 86400
    assert 0.5 < days["big"] < 1.5
    assert 14 < days["bench"] < 28
