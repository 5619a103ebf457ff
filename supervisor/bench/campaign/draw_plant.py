"""A random bank and supply. The only place of the campaign that knows the keys of the plant."""

from functools import cache
from math import sqrt
from random import Random
from typing import Any

import numpy as np

from supervisor.simulator.chemistry import load_chemistry
from supervisor.simulator.open_circuit import OpenCircuitCurve
from supervisor.simulator.parts.cells import CellsSettings

STEEP = (0.9885, 0.9925)  # where the voltage begins to run away
FLAT = (0.2, 0.985)
DIODES_V = 0.8  # the peak behind the knob to the bank, where current begins to flow: about
OHMS = 0.02  # of that peak, volts for an ampere more: about


def draw_plant(rng: Random) -> dict[str, Any]:
    """Cells with their spread, supply, parts: well below the limits, see ``set_charge``."""
    low, high = STEEP if rng.random() < 0.75 else FLAT
    return {
        "cells": {
            "state_of_charge": round(rng.uniform(low, high), 5),
            "state_of_charge_spread": round(rng.uniform(0, 0.0003), 5),
            "capacity_spread_percent": round(rng.uniform(0, 2), 1),
            "resistance_milliohms": round(rng.uniform(0.15, 0.5), 3),
            "resistance_spread_percent": round(rng.uniform(0, 10), 1),
            "link_microohms": round(rng.uniform(0.3, 1.5), 2),
        },
        "supply": {
            "mains_volts": round(rng.uniform(220, 240)),
            "mains_hertz": rng.choice((50, 60)),
            "turns_ratio": round(rng.uniform(42, 50)),
        },
        "switches": {
            "pull_in_milliseconds": round(rng.uniform(15, 40)),
            "release_milliseconds": round(rng.uniform(5, 12)),
        },
        "converters": {
            "clock_error_percent": round(rng.uniform(-9, 9), 1),
            "gain_error_percent": round(rng.uniform(-0.1, 0.1), 3),
            "offset_lsb": round(rng.uniform(-2, 2), 1),
            "filter_hertz": round(rng.uniform(6, 30), 1),
        },
        "thermal": {"ambient_celsius": round(rng.uniform(10, 28), 1)},
    }


def rest_v(plant: dict[str, Any]) -> float:
    """What the bank rests at, spread aside."""
    return _open_circuit_v(plant["cells"]["state_of_charge"])


def set_charge(plant: dict[str, Any], volts: float) -> None:
    """So full that the bank rests at this voltage."""
    low, high = STEEP[0], 1.05
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (middle, high) if _open_circuit_v(middle) < volts else (low, middle)
    plant["cells"]["state_of_charge"] = round(low, 6)


def set_knob(plant: dict[str, Any], volts: float, amperes: float) -> None:
    """About so much current into a bank that rests at this voltage."""
    peak_v = volts + DIODES_V + amperes * OHMS
    plant["supply"]["knob"] = round(min(peak_v / _full_v(plant), 1.0), 4)


def knob_step(plant: dict[str, Any], amperes: float) -> float:
    """About so much more current."""
    return round(min(amperes * OHMS / _full_v(plant), 1.0), 4)


def bars_microohms(plant: dict[str, Any], cells: int) -> float:
    """Front to far cell with the current evenly shared: what somebody would have measured."""
    return float(round(plant["cells"]["link_microohms"] * (cells - 1), 2))


def _full_v(plant: dict[str, Any]) -> float:
    """Peak of half the secondary with the knob fully up."""
    supply = plant["supply"]
    return float(sqrt(2) * supply["mains_volts"] / supply["turns_ratio"])


def _open_circuit_v(state_of_charge: float) -> float:
    return float(_curve().at(np.array([state_of_charge]))[0][0])


@cache
def _curve() -> OpenCircuitCurve:
    return load_chemistry(CellsSettings().chemistry).curve()
