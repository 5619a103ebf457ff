"""Where the numbers of the two axes of time stand: round ones, and a bounded count of them.

Minutes since the session began are the axis; UTC stands above it at round times of its own, run by
run, because the wall clock may be set in between.
"""

from math import ceil, floor, log2
from typing import NamedTuple

from supervisor.report.timeline import Timeline
from supervisor.report.words import HOUR_S, MINUTE_S, utc

DAY_S = 24 * HOUR_S
MINUTES = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 240, 360, 720, 1440)
MINUTE_STEPS_S = tuple(minutes * MINUTE_S for minutes in MINUTES)
CLOCK_STEPS_S = (
    *(1, 2, 5, 10, 15, 30),
    *(minutes * MINUTE_S for minutes in (1, 2, 5, 10, 15, 30)),
    *(hours * HOUR_S for hours in (1, 2, 3, 6, 12, 24)),
)
MONTH_S, YEAR_S = 28 * DAY_S, 365 * DAY_S


class Tick(NamedTuple):
    at_s: float
    text: str


def minute_ticks(from_s: float, to_s: float, most: int) -> list[Tick]:
    """At most ``most`` and one more."""
    step_s = _step_s(to_s - from_s, most, MINUTE_STEPS_S)
    return [Tick(s, _plain(s / MINUTE_S)) for s in _multiples(from_s, to_s, step_s)]


def utc_ticks(timeline: Timeline, from_s: float, to_s: float, most: int) -> list[Tick]:
    """Round times of the wall clock; none within a break, none too near to the one before."""
    step_s = _step_s(to_s - from_s, most, CLOCK_STEPS_S)
    nearest_s = (to_s - from_s) / (2 * most)
    ticks: list[Tick] = []
    told_day: float | None = None
    for begins_s, ends_s, offset_s in _pieces(timeline, from_s, to_s):
        for wall_s in _multiples(begins_s + offset_s, ends_s + offset_s, step_s):
            at_s, day = wall_s - offset_s, wall_s // DAY_S
            if not ticks or at_s - ticks[-1].at_s >= nearest_s:
                is_other_day = told_day not in (None, day)
                ticks.append(Tick(at_s, _clock(wall_s, step_s, is_other_day=is_other_day)))
                told_day = day
    return ticks


def _pieces(timeline: Timeline, from_s: float, to_s: float) -> list[tuple[float, float, float]]:
    """Of the axis, each with what its wall clock is ahead."""
    stretches, pieces = timeline.stretches, []
    for place, stretch in enumerate(stretches):
        later = stretches[place + 1] if place + 1 < len(stretches) else None
        until_s = to_s if later is None else later.begins_s
        if later is not None and later.is_after_break:
            until_s = stretch.ends_s
        begins_s, ends_s = max(from_s, stretch.begins_s), min(to_s, until_s)
        if begins_s <= ends_s:
            pieces.append((begins_s, ends_s, stretch.first.wall_s - stretch.begins_s))
    return pieces


def _step_s(length_s: float, most: int, steps_s: tuple[float, ...]) -> float:
    for step_s in steps_s:
        if length_s <= most * step_s:
            return step_s
    longest_s = steps_s[-1]
    return float(longest_s * 2 ** ceil(log2(length_s / (most * longest_s))))


def _multiples(from_s: float, to_s: float, step_s: float) -> list[float]:
    multiples = (k * step_s for k in range(ceil(from_s / step_s), floor(to_s / step_s) + 1))
    return [multiple for multiple in multiples if from_s <= multiple <= to_s]  # after rounding


def _plain(minutes: float) -> str:
    text = f"{minutes:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _clock(wall_s: float, step_s: float, *, is_other_day: bool) -> str:
    """With a date where a day begins, and where the clock comes to another one."""
    if step_s >= YEAR_S:
        return utc(wall_s, "%Y")
    if step_s >= MONTH_S:
        return utc(wall_s, "%b %Y")
    if wall_s % DAY_S == 0:
        return utc(wall_s, "%d %b")
    form = "%H:%M:%S" if step_s < MINUTE_S else "%H:%M"
    return utc(wall_s, f"%d %b {form}" if is_other_day else form)
