"""In real time nothing may take long: what the supply can be asked for is solved before the start.

A column of the rectifier's table takes many cycles of the loop, and an order to close is just when
it would first be needed.
"""

from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import pytest

from supervisor.bench.rig import Rig
from supervisor.bench.scenario import Refit, Scenario
from supervisor.control.publisher import LastSnapshot
from supervisor.devices.protocols import Alarm, Clock
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.parts.cells import CellsSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.supply import SupplySettings
from supervisor.simulator.rectifier_table import RectifierTable, table_of
from supervisor.simulator.world import World

CELLS = {
    "the bank, half full": (32, 280, CellsSettings(state_of_charge=0.5)),
    "the bank, nearly full": (32, 280, CellsSettings(state_of_charge=0.998)),
    "the bank, nearly empty": (32, 280, CellsSettings(state_of_charge=0.05)),
    "four cells, nearly full": (4, 100, CellsSettings(state_of_charge=0.995)),
    "one cell, nearly full": (1, 100, CellsSettings(state_of_charge=0.99)),
    "worn cells": (4, 100, CellsSettings(state_of_charge=0.99, resistance_milliohms=2.0)),
    "another kind": (8, 100, CellsSettings(chemistry="prada-2013", state_of_charge=0.97)),
}


class RealTime:
    """Passes for a real clock: whoever sees it must expect that time does not wait."""

    def __init__(self) -> None:
        self._clock = SimulatedClock()

    def now_s(self) -> float:
        return self._clock.now_s()

    def sleep_until(self, at_s: float) -> None:
        self._clock.sleep_until(at_s)

    def wall(self) -> datetime:
        return self._clock.wall()

    def alarm(self, act: Callable[[], None]) -> Alarm:
        return self._clock.alarm(act)


@pytest.fixture
def solved(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[tuple[int, int, int]]]:
    """Columns solved so far, of tables that begin empty."""
    columns: list[tuple[int, int, int]] = []
    solve = RectifierTable._solve

    def counted(table: RectifierTable, *key: int) -> object:
        columns.append((key[0], key[1], key[2]))
        return solve(table, *key)

    monkeypatch.setattr(RectifierTable, "_solve", counted)
    table_of.cache_clear()
    yield columns
    table_of.cache_clear()


def bank_of(hut: SupervisorSettings, cells: int, ampere_hours: float) -> SupervisorSettings:
    size = {"cells_in_parallel": cells, "cell_ampere_hours": ampere_hours}
    return hut.model_copy(update={"bank": hut.bank.model_copy(update=size)})


def closed_and_turned(world: World, clock: Clock) -> None:
    """Closed after a long rest, the knob from 0 to 1 and back, opened and closed again."""
    plant = world.plant
    for first_s in (900.0, 3000.0):
        clock.sleep_until(first_s)
        world.change(plant._close_for_good)
        world.knob(1.0, 30.0)
        while clock.now_s() < first_s + 330.0 and plant.max_cell_v < 3.65:
            clock.sleep_until(clock.now_s() + 1.0)
            world.catch_up()
        world.knob(0.0, 2.0)
        clock.sleep_until(clock.now_s() + 5.0)
        world.change(plant.contactor.mend)


@pytest.mark.parametrize("cells", CELLS.values(), ids=CELLS)
def test_once_ready_nothing_is_solved_any_more(
    hut_settings: SupervisorSettings,
    solved: list[tuple[int, int, int]],
    cells: tuple[int, float, CellsSettings],
) -> None:
    count, ampere_hours, kind = cells
    clock = SimulatedClock()
    settings = bank_of(hut_settings, count, ampere_hours)
    world = World(settings, PlantSettings(cells=kind), clock)
    world.prepare()
    beforehand = list(solved)
    closed_and_turned(world, clock)
    assert world.plant.charge_ah > 0.5
    assert solved == beforehand


def scenario(*acts: dict[str, object]) -> Scenario:
    return Scenario.model_validate(
        {
            "name": "Closed and turned",
            "settings": "",
            "seconds": 60,
            "plant": {"cells": {"state_of_charge": 0.9}},
            "timeline": (*acts, {"at_seconds": 1.5, "close": True}),
            "expect": {"outcome": "closed"},
        }
    )


def rig_on(clock: Clock, hut: SupervisorSettings, folder: Path, played: Scenario) -> Rig:
    return Rig(played, hut, clock=clock, state_dir=folder, publisher=LastSnapshot())


def test_on_a_real_clock_it_is_ready_before_the_loop_begins(
    hut_settings: SupervisorSettings, solved: list[tuple[int, int, int]], tmp_path: Path
) -> None:
    clock = RealTime()
    rig = rig_on(clock, hut_settings, tmp_path, scenario())
    beforehand = list(solved)
    assert beforehand
    try:
        while rig.elapsed_s < 30.0:
            rig.cycle()
            if 2.0 <= rig.elapsed_s < 2.02:
                rig.world.knob(0.8, 20.0)
        assert rig.world.plant.current_a > 5.0
    finally:
        rig.loop.close()
    assert solved == beforehand


def test_of_a_supply_that_comes_later_as_well(
    hut_settings: SupervisorSettings, solved: list[tuple[int, int, int]], tmp_path: Path
) -> None:
    other = SupplySettings(turns_ratio=40, winding_milliohms=3)
    later = {"at_seconds": 1.0, "refit": Refit(supply=other)}
    clock = RealTime()
    rig = rig_on(clock, hut_settings, tmp_path, scenario(later))
    rig.loop.close()
    beforehand = list(solved)
    clock.sleep_until(5.0)
    rig.world.catch_up()
    closed_and_turned(rig.world, clock)
    assert rig.world.plant.charge_ah > 0.5
    assert solved == beforehand


def test_in_simulated_time_nothing_is_solved_before_it_is_needed(
    hut_settings: SupervisorSettings, solved: list[tuple[int, int, int]], tmp_path: Path
) -> None:
    rig_on(SimulatedClock(), hut_settings, tmp_path, scenario()).loop.close()
    assert solved == []


def test_the_timeline_begins_when_it_is_ready(
    hut_settings: SupervisorSettings, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """However long it took: an act at 1.5 s is not late at once."""
    clock = RealTime()
    monkeypatch.setattr(World, "prepare", lambda *_: clock.sleep_until(7.0))
    rig = rig_on(clock, hut_settings, tmp_path, scenario())
    rig.loop.close()
    assert rig.started_at_s == 7.0
