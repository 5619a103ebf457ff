"""What was measured, as arrays on the session's axis."""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from supervisor.report.timeline import Timeline

Floats = NDArray[np.float64]
GAP_SPANS = 2.5  # a row that comes so many of its spans after the one before leaves a gap


@dataclass(frozen=True, slots=True)
class Band:
    """Mean, lowest and highest single value; nan where nothing good was read."""

    mean: Floats
    low: Floats
    high: Floats

    def __getitem__(self, which: Any) -> "Band":
        return Band(self.mean[which], self.low[which], self.high[which])


@dataclass(frozen=True, slots=True)
class Series:
    """Rows in the order of time; ``at_s`` is the end of a row's span."""

    at_s: Floats
    span_s: Floats
    run: Floats
    front_v: Band
    far_v: Band
    current_a: Band
    good: Floats
    windows: Floats

    def __len__(self) -> int:
        return len(self.at_s)

    def __getitem__(self, which: Any) -> "Series":
        return Series(*(getattr(self, field.name)[which] for field in fields(self)))

    def between(self, from_s: float, to_s: float) -> "Series":
        return self[(self.at_s >= from_s) & (self.at_s <= to_s)]

    def gap_before(self) -> NDArray[np.bool_]:
        """Whether time is missing before a row."""
        after_s = np.diff(self.at_s, prepend=self.at_s[:1])
        return np.asarray(after_s > GAP_SPANS * self.span_s)


def on_axis(rows: Floats, timeline: Timeline) -> Series:
    at_s = np.empty(len(rows))
    for stretch in timeline.stretches:
        mine = rows[:, 0] == stretch.run
        at_s[mine] = rows[mine, 1] + (stretch.begins_s - stretch.first.mono_s)
    front, far, current = (Band(*rows[:, k : k + 3].T) for k in (4, 7, 10))
    return _in_order(
        Series(at_s, rows[:, 3], rows[:, 0], front, far, current, rows[:, 13], rows[:, 14])
    )


def finest(seconds: Series, minutes: Series) -> Series:
    """Rows of a second, and of a minute where there are none."""
    after = np.searchsorted(seconds.at_s, minutes.at_s, side="right")
    before = np.searchsorted(seconds.at_s, minutes.at_s - minutes.span_s, side="right")
    lone = minutes[after == before]
    return _in_order(joined(seconds, lone)) if len(lone) else seconds


def _in_order(series: Series) -> Series:
    """Not copied when it is so already: a week takes 70 MB."""
    if np.all(np.diff(series.at_s) >= 0):
        return series
    return series[np.argsort(series.at_s, kind="stable")]


def joined(one: Series, other: Series) -> Series:
    def together(a: Any, b: Any) -> Any:
        if isinstance(a, Band):
            return Band(*(np.concatenate(p) for p in zip(_parts(a), _parts(b), strict=True)))
        return np.concatenate((a, b))

    return Series(*(together(getattr(one, f.name), getattr(other, f.name)) for f in fields(one)))


def _parts(band: Band) -> tuple[Floats, Floats, Floats]:
    return band.mean, band.low, band.high
