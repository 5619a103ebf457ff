"""Forecasts of the time to the limit on simulated banks, beside what then came."""

from collections.abc import Iterable
from itertools import product
from pathlib import Path
from typing import NamedTuple

from guided_plant import GuidedPlant, settings_of

MINUTES_BEFORE = (60, 30, 10, 2)
EVERY_S = 10.0
LONGEST_S = 12 * 3600.0
SPREAD = {
    "state_of_charge_spread": 0.002,
    "capacity_spread_percent": 1.0,
    "resistance_spread_percent": 5.0,
}


class Turn(NamedTuple):
    """Of the knob: begun at, to, within."""

    at_s: float
    to: float
    over_s: float


class Charge(NamedTuple):
    """From this state of charge up to the limit, at a knob left alone after the last turn."""

    cells: int
    each_ah: float
    chemistry: str
    state_of_charge: float
    knob: float
    turns: tuple[Turn, ...] = ()

    @property
    def left_alone_from_s(self) -> float:
        return max((turn.at_s + turn.over_s for turn in self.turns), default=0.0)


BANKS = {
    "32 x 280 Ah": Charge(32, 280, "bpx-lfp", 0.975, 0.95),
    "8 x 280 Ah": Charge(8, 280, "bpx-lfp", 0.95, 0.95),
    "48 x 100 Ah": Charge(48, 100, "prada-2013", 0.965, 0.9),
}
KNOBS = (0.85, 0.9, 0.95, 1.0)
STARTS = tuple(
    Charge(cells, 280, chemistry, soc, knob)
    for cells, knob, (chemistry, socs) in product(
        (4, 8, 32),
        KNOBS,
        (("bpx-lfp", (0.975, 0.985, 0.99, 0.995)), ("prada-2013", (0.95, 0.97, 0.985))),
    )
    for soc in socs
)
TURNS = {
    "down": (Turn(300, 0.9, 2),),
    "up": (Turn(300, 0.98, 2),),
    "to and fro": (
        Turn(200, 0.88, 10),
        Turn(500, 0.95, 10),
        Turn(800, 0.9, 3),
        Turn(1100, 0.97, 3),
    ),
    "slowly up": (Turn(240, 1.0, 600),),
    "slowly down": (Turn(240, 0.88, 600),),
}
TURNED = tuple(
    Charge(cells, 280, chemistry, soc, 0.93, turns)
    for turns in TURNS.values()
    for cells, chemistry, soc in (
        (8, "bpx-lfp", 0.97),
        (8, "bpx-lfp", 0.98),
        (8, "prada-2013", 0.95),
        (32, "bpx-lfp", 0.98),
        (32, "prada-2013", 0.96),
    )
)


class Told(NamedTuple):
    """So long before the limit and after closing, at so many volts; what was told, None: that
    nobody can tell yet."""

    before_s: float
    closed_s: float
    volts: float
    best_s: float | None
    low_s: float | None
    high_s: float | None


def forecasts(hut: Path, charge: Charge, seed: int) -> list[Told]:
    """Every ten seconds since nobody touched the knob any more, in the order of time."""
    settings = settings_of(hut, charge.cells, charge.each_ah)
    cells = {"chemistry": charge.chemistry, "state_of_charge": charge.state_of_charge} | SPREAD
    bench = GuidedPlant(settings, cells, charge.knob, seed=seed)
    limit_v = settings.protection.overvoltage.trip_volts
    turns = list(charge.turns)
    views = []
    next_s = max(EVERY_S, charge.left_alone_from_s)
    for _ in bench.windows(LONGEST_S):
        if bench.plant.max_cell_v >= limit_v:
            break
        if turns and bench.now_s >= turns[0].at_s:
            turn = turns.pop(0)
            bench.plant.turn_knob(turn.to, bench.now_s, turn.over_s)
        if bench.now_s >= next_s:
            next_s += EVERY_S
            views.append((bench.now_s, bench.guide.view(bench.now_s)))
    else:
        raise AssertionError("it never came to the limit")
    return [
        Told(
            bench.now_s - at_s,
            at_s,
            view.measured_v or 0.0,
            view.to_limit.best_s,
            view.to_limit.low_s,
            view.to_limit.high_s,
        )
        for at_s, view in views
    ]


def at(told: list[Told], minutes: float) -> Told:
    """What was told so long before."""
    return min(told, key=lambda one: abs(one.before_s - 60 * minutes))


STEEP_V, CLOSE_S, SETTLED_S, LAST_S = 3.42, 300.0, 180.0, 10.0


class Judged(NamedTuple):
    """Of many forecasts: how many were told, in how many of those the limit came before the
    earliest, and outside the interval; the largest share of the truth that the best estimate was;
    how many were due and not told."""

    told: int
    too_late: int
    outside: int
    latest_share: float
    due: int
    silent: int


def judged(told: Iterable[Told]) -> Judged:
    """Due: from five minutes before the limit and three after closing, above the flat part."""
    known = too_late = outside = due = silent = 0
    latest_share = 0.0
    for one in told:
        is_due = one.before_s <= CLOSE_S and one.closed_s >= SETTLED_S and one.volts >= STEEP_V
        due += is_due
        if one.best_s is None or one.low_s is None or one.high_s is None:
            silent += is_due
            continue
        known += 1
        too_late += one.low_s > one.before_s
        outside += not one.low_s <= one.before_s <= one.high_s
        if one.before_s >= LAST_S:
            latest_share = max(latest_share, one.best_s / one.before_s)
    return Judged(known, too_late, outside, latest_share, due, silent)
