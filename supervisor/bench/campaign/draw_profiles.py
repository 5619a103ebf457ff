"""Random profiles of a build: other limits and another charge, for the same cells and leads."""

from copy import deepcopy
from random import Random
from typing import Any

from supervisor.bench.campaign.draw_charge import LIMITS, pulsed_hold, stage_limits

SHARE = 0.4
NAMES = ("morning", "evening")
ABOUT = "Drawn by the campaign for another job"


def draw_profiles(rng: Random, drawn: dict[str, Any]) -> dict[str, Any]:
    """By their names; none in most builds."""
    if rng.random() >= SHARE:
        return {}
    return {name: _profile(rng, drawn) for name in NAMES[: rng.randint(1, 2)]}


def _profile(rng: Random, drawn: dict[str, Any]) -> dict[str, Any]:
    """Each part of it as often as not."""
    charge, overrides, leave_out = deepcopy(drawn["charge"]), {}, []
    if rng.random() < 0.5:
        most_a = drawn["protection.overcurrent.trip_amperes"]
        overrides["protection.overcurrent.trip_amperes"] = round(rng.uniform(0.9, 1) * most_a, 1)
    if rng.random() < 0.5:
        over_v = drawn["protection.overvoltage.trip_volts"]
        overrides["protection.overvoltage.trip_volts"] = round(over_v - rng.uniform(0, 0.01), 3)
    if LIMITS in drawn and rng.random() < 0.5:
        leave_out.append(LIMITS)
    elif rng.random() < 0.5:
        overrides[LIMITS] = stage_limits(rng, drawn, charge)
    if "pulsed_hold" in charge and rng.random() < 0.5:
        leave_out.append("charge.pulsed_hold")
    elif rng.random() < 0.3:
        overrides["charge.pulsed_hold"] = pulsed_hold(rng, charge)
    return {"about": ABOUT, "overrides": overrides, "leave_out": leave_out}
