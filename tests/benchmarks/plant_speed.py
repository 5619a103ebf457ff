"""How fast the plant alone is: a whole charge of a day, hold included. Prints; asserts nothing."""

import time
from pathlib import Path

from supervisor.settings.load import load_settings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.plant import Plant

SETTINGS = Path(__file__).parents[2] / "config" / "hut-bank.yaml"
HUT, _ = load_settings(SETTINGS)
DAY_S = 86400.0
RARELY_S, OFTEN_S, OFTEN_ABOVE_V = 240.0, 60.0, 3.36  # looks; nobody stares at a flat voltage
LIMIT_V = 3.55
AT_FIRST, LESS = 1.0, 0.03
CELLS = {
    "state_of_charge": 0.4,
    "state_of_charge_spread": 0.01,
    "capacity_spread_percent": 1,
    "resistance_spread_percent": 5,
}


def charged_for_a_day(charge: float) -> Plant:
    """By somebody who looks now and then, and turns down a little at the limit."""
    cells = {**CELLS, "state_of_charge": charge}
    plant = Plant(HUT, PlantSettings.model_validate({"cells": cells}), seed=1)
    plant.change(0.0, plant._close_for_good)
    knob, at_s = AT_FIRST, 0.0
    plant.turn_knob(knob, 0.0, 60.0)
    while at_s < DAY_S:
        at_s += OFTEN_S if plant.cell_v(0) > OFTEN_ABOVE_V else RARELY_S
        plant.advance(at_s)
        if plant.cell_v(0) > LIMIT_V and plant.current_a > 1.0:
            knob = max(0.0, knob - LESS)
            plant.turn_knob(knob, at_s, 0.2)
    return plant


def main() -> None:
    for charge in (0.75, 0.75, 0.9):
        began_s, began_cpu_s = time.perf_counter(), time.process_time()
        plant = charged_for_a_day(charge)
        took_s, cpu_s = time.perf_counter() - began_s, time.process_time() - began_cpu_s
        print(
            f"from {charge:.0%}: {DAY_S / took_s:,.0f} x real time "
            f"({DAY_S / cpu_s:,.0f} by processor time), {plant.solutions} solutions, "
            f"{cpu_s / plant.solutions * 1e6:.0f} us each; {plant.charge_ah:.0f} Ah, "
            f"{plant.cell_v(0):.4f} V, {plant.current_a:.1f} A in the end"
        )


if __name__ == "__main__":
    main()
