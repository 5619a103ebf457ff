"""Random settings of a build: overrides of the example. Whether they are valid, `check` says."""

from math import ceil
from random import Random
from typing import Any

from supervisor.bench.campaign import draw_plant
from supervisor.bench.campaign.base import CAN_LACK, NOT_FITTED
from supervisor.bench.campaign.draw_charge import draw_charge
from supervisor.bench.campaign.draw_profiles import draw_profiles

KNOB_SPEED = {"trip_amperes_per_second": 15, "trip_volts_per_second": 0.01}
FAR_CELL = {"converter": "cells", "inputs": "2-3", "range_volts": 4.096}
CELL_PROBE = {"chip": "ds18b20", "place": "cells", "serial": "28-0316a2795bff"}
SINK_PROBE = {"chip": "lm75", "place": "heat_sink", "address": 0x4C}


def draw_settings(rng: Random, plant: dict[str, Any], *, clean: bool) -> dict[str, Any]:
    """Dotted paths and their values. ``clean``: see ``draw_charge``."""
    bank = _bank(rng)
    drawn = {
        **bank,
        **_voltages(rng, bank["bank.never_above_volts"]),
        **_slopes(rng),
        **_currents(rng),
        **_timing(rng),
        **_drive(rng, plant),
        **_far_cell(rng, plant, bank["bank.cells_in_parallel"]),
        **_heat(rng),
        **_second_line(rng, bank["bank.never_above_volts"]),
        **_probes(rng),
    }
    drawn |= draw_charge(rng, drawn, clean=clean)
    if not clean and (profiles := draw_profiles(rng, drawn)):
        drawn["profiles"] = profiles
    blocks = {path.split(".")[1] for path in drawn if path.startswith("protection.")}
    drawn["protection.without"] = {name: NOT_FITTED for name in CAN_LACK if name not in blocks}
    return drawn


def _bank(rng: Random) -> dict[str, Any]:
    cells, each_ah = rng.choice((2, 4, 8, 16, 32, 48)), rng.choice((50, 100, 280, 314))
    return {
        "bank.never_above_volts": rng.choice((3.6, 3.65, 3.65, 3.65, 3.7)),
        "bank.cells_in_parallel": cells,
        "bank.cell_ampere_hours": each_ah,
        "bank.fastest_rise_volts_per_second": round(rng.uniform(0.008, 0.025), 4),
        "protection.session_charge.trip_ampere_hours": cells * each_ah,
    }


def _voltages(rng: Random, never_above_v: float) -> dict[str, Any]:
    trip_v = round(never_above_v - rng.uniform(0.05, 0.13), 3)
    of = rng.choice((2, 3, 4, 5))
    return {
        "protection.overvoltage.trip_volts": trip_v,
        "protection.overvoltage.delay_seconds": round(rng.uniform(0, 1.5), 1),
        "protection.overvoltage.confirm": rng.randint(2, of),
        "protection.overvoltage.of": of,
        "protection.overvoltage_high_set.trip_volts": round(trip_v + rng.uniform(0.015, 0.04), 3),
    }


def _slopes(rng: Random) -> dict[str, Any]:
    return {
        "protection.rate_of_rise.trip_volts_per_minute": round(rng.uniform(0.06, 0.4), 2),
        "protection.rate_of_rise.over_seconds": round(rng.uniform(3, 10)),
        "protection.rate_of_rise.delay_seconds": round(rng.uniform(0.5, 2), 1),
        "protection.rate_of_rise.look_ahead_seconds": round(rng.uniform(2, 5), 1),
        **_sometimes(rng, "protection.knob_speed", KNOB_SPEED),
    }


def _currents(rng: Random) -> dict[str, Any]:
    return {
        "protection.overcurrent.trip_amperes": rng.randint(45, 130),
        "protection.overcurrent.delay_seconds": round(rng.uniform(0.5, 4), 1),
        "protection.reverse_current.delay_seconds": round(rng.uniform(0.3, 1.5), 1),
    }


def _timing(rng: Random) -> dict[str, Any]:
    return {
        "loop.window_milliseconds": rng.choice((100, 100, 200)),
        "loop.scans_per_window": rng.choice((7, 7, 8, 9, 11, 13)),
        "loop.lease_milliseconds": rng.randint(250, 600),
        "bus.kilohertz": rng.choice((100, 400)),
        "protection.sensing.trip_after_seconds": round(rng.uniform(0.08, 0.22), 2),
        "protection.stale.trip_after_seconds": round(rng.uniform(0.08, 0.22), 2),
    }


def _drive(rng: Random, plant: dict[str, Any]) -> dict[str, Any]:
    auxiliary = {"pin": 27, "contact": rng.choice(("normally_closed", "normally_open"))}
    mains = {"pin": 22, "opens": rng.choice(("every_opening", "failed_opening"))}
    pulse = {
        "contactor.drive": "pulse",
        "contactor.dropout_milliseconds": rng.randint(240, 350),
    }
    return {
        "contactor.release_milliseconds": ceil(draw_plant.release_ms(plant) * rng.uniform(1, 2)),
        **(pulse if rng.random() < 0.6 else {}),
        **_sometimes(rng, "contactor.auxiliary", auxiliary),
        **_sometimes(rng, "mains_contactor", mains),
        "protection.failed_to_open.within_seconds": round(rng.uniform(0.5, 1.0), 2),
    }


def _far_cell(rng: Random, plant: dict[str, Any], cells: int) -> dict[str, Any]:
    if rng.random() < 0.25:
        return {}
    balance = {
        "trip_volts": round(rng.uniform(0.03, 0.08), 3),
        "bars_microohms": draw_plant.bars_microohms(plant, cells),
        "delay_seconds": round(rng.uniform(1, 5), 1),
    }
    return {"channels.far_cell": FAR_CELL, "protection.balance": balance}


def _heat(rng: Random) -> dict[str, Any]:
    if rng.random() < 0.3:
        return {}
    rectifier = {
        "continuous_amperes": rng.randint(40, 140),
        "time_constant_seconds": rng.choice((10, 20, 60, 300)),
    }
    return {"protection.supply_thermal": {"form_factor": 1.2, "rectifier": rectifier}}


def _second_line(rng: Random, never_above_v: float) -> dict[str, Any]:
    if rng.random() < 0.7:
        return {}
    line = {
        "converter": "guard",
        "inputs": "0-1",
        "trip_volts": round(never_above_v - rng.uniform(0.008, 0.025), 3),
        "release_volts": 3.4,
        "pin": 26,
    }
    return {"converters.guard": {"address": 0x4A}, "second_line": line}


def _probes(rng: Random) -> dict[str, Any]:
    if rng.random() < 0.6:
        return {}
    limits: dict[str, Any] = {"delay_seconds": round(rng.uniform(0.5, 5), 1)}
    probes: dict[str, Any] = {}
    if rng.random() < 0.7:
        probes["middle_cell"] = CELL_PROBE
        limits |= {"cells_above_celsius": 45, "cells_below_celsius": rng.choice((0, 2, 5))}
    if not probes or rng.random() < 0.5:
        probes["sink"] = SINK_PROBE
        limits["heat_sink_above_celsius"] = rng.randint(70, 100)
    return {"probes": probes, "protection.temperature": limits}


def _sometimes(rng: Random, path: str, block: dict[str, Any]) -> dict[str, Any]:
    return {path: block} if rng.random() < 0.5 else {}
