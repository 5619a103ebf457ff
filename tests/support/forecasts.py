"""Forecasts of the time to the limit on simulated banks, beside what then came."""

from pathlib import Path
from typing import Any, NamedTuple

from guided_plant import GuidedPlant, settings_of

MINUTES_BEFORE = (60, 30, 10, 2)
EVERY_S = 10.0
# Name, cells, Ah each, plant, knob.
BANKS: dict[str, tuple[int, float, dict[str, Any], float]] = {
    "32 x 280 Ah": (32, 280, {"state_of_charge": 0.975, "chemistry": "bpx-lfp"}, 0.95),
    "8 x 280 Ah": (8, 280, {"state_of_charge": 0.95, "chemistry": "bpx-lfp"}, 0.95),
    "48 x 100 Ah": (48, 100, {"state_of_charge": 0.965, "chemistry": "prada-2013"}, 0.9),
}
SPREAD = {
    "state_of_charge_spread": 0.002,
    "capacity_spread_percent": 1.0,
    "resistance_spread_percent": 5.0,
}


class Told(NamedTuple):
    """So long before the limit; what was told, None: that nobody can tell yet."""

    before_s: float
    best_s: float | None
    low_s: float | None
    high_s: float | None


def forecasts(hut: Path, bank: str, seed: int) -> list[Told]:
    """One charge at a knob left alone, told every ten seconds, in the order of time."""
    cells, each_ah, described, knob = BANKS[bank]
    settings = settings_of(hut, cells, each_ah)
    bench = GuidedPlant(settings, described | SPREAD, knob, seed=seed)
    limit_v = settings.protection.overvoltage.trip_volts
    told: list[tuple[float, Any]] = []
    next_s = EVERY_S
    for _ in bench.windows(12 * 3600.0):
        if bench.plant.max_cell_v >= limit_v:
            break
        if bench.now_s >= next_s:
            next_s += EVERY_S
            told.append((bench.now_s, bench.guide.view(bench.now_s).to_limit))
    else:
        raise AssertionError("it never came to the limit")
    return [Told(bench.now_s - s, view.best_s, view.low_s, view.high_s) for s, view in told]


def at(told: list[Told], minutes: float) -> Told:
    """What was told so long before."""
    return min(told, key=lambda one: abs(one.before_s - 60 * minutes))
