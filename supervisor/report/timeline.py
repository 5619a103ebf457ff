"""One continuous axis for a session, over restarts of the daemon and steps of the wall clock.

Within a run the monotonic clock tells how things follow one another. Between two runs only the
wall clock can; where what it says cannot be, the axis has a break of a fixed width.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

LONGEST_BETWEEN_S = 48 * 3600.0
BREAK_S = 600.0  # width of a break; how long it took is unknown
STEP_S = 2.0  # a wall clock that parts from the monotonic one by so much was set


class Stamp(NamedTuple):
    """When something happened, as the journal tells it."""

    run: int
    mono_s: float
    wall_s: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """One run on the axis."""

    run: int
    first: Stamp
    last: Stamp
    begins_s: float
    is_after_break: bool

    @property
    def ends_s(self) -> float:
        return self.begins_s + self.last.mono_s - self.first.mono_s

    @property
    def clock_step_s(self) -> float:
        """By how much the wall clock was set meanwhile; 0 when it was not."""
        parted = (self.last.wall_s - self.first.wall_s) - (self.last.mono_s - self.first.mono_s)
        return parted if abs(parted) > STEP_S else 0.0


class Timeline:
    """Seconds since the session began; the first stamp is 0."""

    def __init__(self, stamps: Iterable[Stamp]) -> None:
        ends: dict[int, tuple[Stamp, Stamp]] = {}
        for stamp in stamps:
            first, last = ends.get(stamp.run, (stamp, stamp))
            ends[stamp.run] = (
                min(first, stamp, key=_mono_s),
                max(last, stamp, key=_mono_s),
            )
        self.stretches = tuple(_laid_out([ends[run] for run in sorted(ends)]))
        self._by_run = {stretch.run: stretch for stretch in self.stretches}

    @property
    def ends_s(self) -> float:
        return self.stretches[-1].ends_s

    def at_s(self, run: int, mono_s: float) -> float:
        stretch = self._by_run[run]
        return stretch.begins_s + mono_s - stretch.first.mono_s

    def of_wall_s(self, run: int, wall_s: float) -> float:
        """Of something that has no monotonic time: by the wall clock, within its run."""
        stretch = self._by_run.get(run, self.stretches[-1])
        at_s = stretch.begins_s + wall_s - stretch.first.wall_s
        return min(max(at_s, stretch.begins_s), stretch.ends_s)

    def wall_s(self, at_s: float) -> float:
        """UTC since 1970 of a point of the axis, by the clock at the begin of its run."""
        stretch = self.stretches[0]
        for later in self.stretches[1:]:
            if later.begins_s <= at_s:
                stretch = later
        return stretch.first.wall_s + at_s - stretch.begins_s

    def breaks(self) -> list[tuple[float, float]]:
        return [
            (before.ends_s, stretch.begins_s)
            for before, stretch in zip(self.stretches, self.stretches[1:], strict=False)
            if stretch.is_after_break
        ]


def _mono_s(stamp: Stamp) -> float:
    return stamp.mono_s


def _laid_out(ends: list[tuple[Stamp, Stamp]]) -> Iterable[Stretch]:
    before: Stretch | None = None
    for first, last in ends:
        begins_s, is_after_break = 0.0, False
        if before is not None:
            between_s = first.wall_s - before.last.wall_s
            is_after_break = not 0 <= between_s <= LONGEST_BETWEEN_S
            begins_s = before.ends_s + (BREAK_S if is_after_break else between_s)
        before = Stretch(first.run, first, last, begins_s, is_after_break)
        yield before
