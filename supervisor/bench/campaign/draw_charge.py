"""A random charge: its hold, its end, the pulsed hold, and the limits of its stages."""

from random import Random
from typing import Any

PULSED_SHARE = 0.12
STAGE_LIMITS_SHARE = 0.4
LEAST_TAPER_V = 3.42
END_SHARE = (0.05, 0.5)  # of the target: a run is short, and some are to come to their end
FEW_HOURS = (0.005, 0.01, 0.02)
LIMITS = "protection.stage_limits"


def draw_charge(rng: Random, drawn: dict[str, Any], *, clean: bool) -> dict[str, Any]:
    """``clean``: nothing that ends a charge which somebody stands beside."""
    charge = _charge(rng, drawn)
    if clean:
        return {"charge": charge}
    if rng.random() < PULSED_SHARE:
        charge["pulsed_hold"] = pulsed_hold(rng, charge)
    if rng.random() < STAGE_LIMITS_SHARE:
        return {"charge": charge, LIMITS: stage_limits(rng, drawn, charge)}
    return {"charge": charge}


def _charge(rng: Random, drawn: dict[str, Any]) -> dict[str, Any]:
    target_a = round(0.8 * drawn["protection.overcurrent.trip_amperes"])
    return {
        "target_amperes": target_a,
        "taper_above_volts": LEAST_TAPER_V,
        "hold_volts": round(
            drawn["protection.overvoltage.trip_volts"] - rng.uniform(0.025, 0.05), 3
        ),
        "band_volts": round(rng.uniform(0.02, 0.05), 3),
        "full": {
            "end_amperes": round(rng.uniform(*END_SHARE) * target_a, 1),
            "minutes": 1,
            "spread_volts": 0.05,
        },
    }


def pulsed_hold(rng: Random, charge: dict[str, Any]) -> dict[str, Any]:
    """As narrow and as short as the settings allow: several pulses fit into a run."""
    above_v = charge["hold_volts"] - rng.uniform(0, 0.6) * charge["band_volts"]
    return {
        "open_above_volts": round(above_v, 4),
        "close_below_volts": round(above_v - rng.uniform(0.0055, 0.012), 4),
        "least_rest_seconds": rng.randint(10, 16),
        "most_rest_minutes": rng.choice((1, 2, 120)),
        "most_pulses": rng.choice((1, 2, 3, 50)),
        "most_per_hour": rng.choice((1, 2, 3, 12)),
        "most_hours": rng.choice((8, 8, *FEW_HOURS)),
    }


def stage_limits(rng: Random, drawn: dict[str, Any], charge: dict[str, Any]) -> dict[str, Any]:
    """The hold's not above the taper's: it is the later stage."""
    most_a = drawn["protection.overcurrent.trip_amperes"]
    taper_a = round(most_a * rng.uniform(0.2, 0.95), 1)
    hold: dict[str, Any] = {"trip_amperes": round(taper_a * rng.uniform(0.3, 1.0), 1)}
    if rng.random() < 0.5:
        hold["trip_volts"] = round(charge["hold_volts"] + rng.uniform(0.006, 0.02), 3)
    limits: dict[str, Any] = {"taper": {"trip_amperes": taper_a}, "hold": hold}
    limits.pop(rng.choice(("taper", "none", "none")), None)
    return limits | {"delay_seconds": round(rng.uniform(1, 5), 1)}
