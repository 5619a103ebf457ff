"""A random bank and supply. The only place of the campaign that knows the keys of the plant."""

from functools import cache
from math import sqrt
from random import Random
from typing import Any

import numpy as np

from supervisor.simulator.chemistry import load_chemistry
from supervisor.simulator.contactors import build_coil
from supervisor.simulator.open_circuit import OpenCircuitCurve
from supervisor.simulator.parts.cells import CellsSettings
from supervisor.simulator.parts.switches import SwitchSettings

STEEP = (0.9885, 0.9925)  # where the voltage begins to run away
FLAT = (0.2, 0.985)
DIODES_V = 0.8  # the peak behind the knob to the bank, where current begins to flow: about
PULSES_RELAX_S = 15
OHMS = 0.02  # of that peak, volts for an ampere more: about


def draw_plant(rng: Random, *, clean: bool) -> dict[str, Any]:
    """Cells with their spread, supply, parts: well below the limits, see ``set_charge``.

    ``clean``: nothing that somebody would have to be warned of.
    """
    low, high = STEEP if rng.random() < 0.75 else FLAT
    return {
        "cells": {
            "feed": rng.choice(("one_end", "one_end", "both_ends", "diagonal")),
            "state_of_charge": round(rng.uniform(low, high), 5),
            "state_of_charge_spread": round(rng.uniform(0, 0.0003), 5),
            "capacity_spread_percent": round(rng.uniform(0, 2), 1),
            "resistance_milliohms": round(rng.uniform(0.15, 0.5), 3),
            "resistance_spread_percent": round(rng.uniform(0, 10), 1),
            "link_microohms": round(rng.uniform(0.3, 1.5), 2),
            **({} if clean else _odd_cell(rng)),
        },
        "supply": _bench_supply(rng) if rng.random() < 0.15 else _rectifier(rng),
        "switches": {
            "coil": {"suppression": rng.choice(("clamp", "clamp", "diode", "none"))},
            "pull_in_milliseconds": round(rng.uniform(15, 40)),
            "release_milliseconds": round(rng.uniform(5, 12)),
            "bounces": rng.randint(0, 4),
        },
        "converters": {
            "clock_error_percent": round(rng.uniform(-9, 9), 1),
            "gain_error_percent": round(rng.uniform(-0.1, 0.1), 3),
            "offset_lsb": round(rng.uniform(-2, 2), 1),
            "filter_hertz": round(rng.uniform(6, 30), 1),
        },
        "thermal": {"ambient_celsius": round(rng.uniform(10 if clean else -10, 35), 1)},
        "outputs_of_a_dead_owner": rng.choice(("keep_level", "drop")),
    }


def _odd_cell(rng: Random) -> dict[str, Any]:
    """Now and then one of the first cells is emptier or fuller than the others, or worn."""
    if rng.random() < 0.8:
        return {}
    odd, among = rng.randint(0, 1), 2
    charge = [0.0] * among
    charge[odd] = round(rng.uniform(-0.004, 0.002), 5)
    worn = [1.0] * among
    worn[odd] = round(rng.uniform(0.6, 1.0), 2)
    return {"state_of_charge_offsets": charge, "capacity_factors": worn}


def _rectifier(rng: Random) -> dict[str, Any]:
    return {
        "mains_volts": round(rng.uniform(200, 253)),
        "mains_hertz": rng.choice((50, 60)),
        "turns_ratio": round(rng.uniform(42, 50)),
    }


def _bench_supply(rng: Random) -> dict[str, Any]:
    return {
        "kind": "bench",
        "limit_volts": round(rng.uniform(3.5, 5), 2),
        "limit_amperes": round(rng.uniform(5, 60)),
        "lead_milliohms": round(rng.uniform(5, 30), 1),
        "mains_hertz": rng.choice((50, 60)),
    }


def release_ms(plant: dict[str, Any]) -> float:
    """What somebody would have measured: the coil's own time and the armature's."""
    switches = SwitchSettings.model_validate(plant["switches"])
    return build_coil(switches.coil).release_s * 1000 + switches.release_milliseconds


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


def set_for_pulses(plant: dict[str, Any], cells: int, drop_v: float, amperes: float) -> None:
    """So slow cells that this current lifts the bank by so much, within a minute or less."""
    milliohms = drop_v / amperes * cells * 1000
    plant["cells"] |= {
        "resistance_milliohms": round(0.3 * milliohms, 3),
        "relaxation_milliohms": round(0.7 * milliohms, 3),
        "relaxation_seconds": PULSES_RELAX_S,
        "diffusion_milliohms": 0,
    }


def set_knob(plant: dict[str, Any], volts: float, amperes: float) -> None:
    """About so much current into a bank that rests at this voltage."""
    peak_v = volts + _is_rectifier(plant) * DIODES_V + amperes * _ohms(plant)
    plant["supply"]["knob"] = round(min(peak_v / _full_v(plant), 1.0), 4)


def knob_step(plant: dict[str, Any], amperes: float) -> float:
    """About so much more current."""
    return round(min(amperes * _ohms(plant) / _full_v(plant), 1.0), 4)


def bars_microohms(plant: dict[str, Any], cells: int) -> float:
    """Front to far cell with the current evenly shared: what somebody would have measured.

    A feed at both ends or across brings both cells to the same voltage.
    """
    if plant["cells"]["feed"] != "one_end":
        return 0.0
    return float(round(plant["cells"]["link_microohms"] * (cells - 1), 2))


def _ohms(plant: dict[str, Any]) -> float:
    """From the voltage that the knob sets to the current: of the leads alone where it is held."""
    lead = plant["supply"].get("lead_milliohms")
    return OHMS if lead is None else float(lead) / 1000


def _full_v(plant: dict[str, Any]) -> float:
    """With the knob fully up: peak of half the secondary, or what the bench supply is set to."""
    supply = plant["supply"]
    if not _is_rectifier(plant):
        return float(supply["limit_volts"])
    return float(sqrt(2) * supply["mains_volts"] / supply["turns_ratio"])


def _is_rectifier(plant: dict[str, Any]) -> bool:
    return "turns_ratio" in plant["supply"]


def _open_circuit_v(state_of_charge: float) -> float:
    return float(_curve().at(np.array([state_of_charge]))[0][0])


@cache
def _curve() -> OpenCircuitCurve:
    return load_chemistry(CellsSettings().chemistry).curve()
