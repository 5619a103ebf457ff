"""The session in numbers."""

from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from supervisor.report.charge import Charge, charge_of
from supervisor.report.end_current import EndCurrent, PulseMean, end_current, pulse_mean
from supervisor.report.gaps import Gaps, find_gaps
from supervisor.report.holes import Hole, holes_while_open
from supervisor.report.quality import ChargeCheck, check_charge
from supervisor.report.record import Event, Record
from supervisor.report.settings_told import dig
from supervisor.report.spells import (
    Spell,
    StageSpell,
    Unseen,
    closed_spells,
    overlap_s,
    stage_spells,
    unseen_ends,
)
from supervisor.report.temperatures import Warmth, warmest
from supervisor.report.trips import Trip, find_trips


@dataclass(frozen=True, slots=True)
class Peak:
    """Highest single value of a cell."""

    volts: float
    at_s: float
    cell: str


@dataclass(frozen=True, slots=True)
class Figures:
    charge: Charge
    zero_a: float | None
    peak: Peak | None
    never_above_v: float | None
    closed: tuple[Spell, ...]
    stages: tuple[StageSpell, ...]
    end: EndCurrent | None
    pulse_mean: PulseMean | None
    highest_a: float | None
    warmth: tuple[Warmth, ...]
    gaps: Gaps
    unseen: tuple[Unseen, ...]
    holes: tuple[Hole, ...]
    check: ChargeCheck | None
    trips: tuple[Trip, ...]
    cues: tuple[Event, ...]
    rest: Event | None

    @property
    def margin_v(self) -> float | None:
        """Of the peak to what the cells' maker forbids; negative: above it."""
        if self.peak is None or self.never_above_v is None:
            return None
        return self.never_above_v - self.peak.volts

    @property
    def has_unseen_end(self) -> bool:
        """A run ended without a word while it was closed: nobody knows what flowed after that."""
        return any(trip.is_unseen_end for trip in self.trips)

    @property
    def closed_s(self) -> float:
        return sum(spell.length_s for spell in self.closed)

    @property
    def hold_s(self) -> float:
        return overlap_s(self.closed, self.stages, "hold")

    @property
    def charge_ends_s(self) -> float | None:
        return self.closed[-1].to_s if self.closed else None

    def cue_counts(self) -> list[tuple[str, int]]:
        """Most frequent first."""
        return Counter(str(cue.data.get("cue", "?")) for cue in self.cues).most_common()


def figures_of(record: Record) -> Figures:
    closed, series, unseen = closed_spells(record), record.series, unseen_ends(record)
    gaps, highest_a = find_gaps(series, closed), _highest(series.current_a.high)
    trips = tuple(find_trips(record.events, record.timeline))
    finished = _newest(record, "finished")
    return Figures(
        charge=charge_of(record, closed, gaps, trips),
        zero_a=record.progress[-1].row.zero_a if record.progress else None,
        peak=_peak(record),
        never_above_v=dig(record.session.settings, "bank.never_above_volts"),
        closed=tuple(closed),
        stages=tuple(stage_spells(record)),
        end=end_current(record, closed),
        pulse_mean=pulse_mean(record, closed, finished) if finished else None,
        highest_a=highest_a,
        warmth=warmest(record),
        gaps=gaps,
        unseen=tuple(unseen),
        holes=holes_while_open(record, closed, unseen),
        check=check_charge(record, closed, gaps, highest_a),
        trips=trips,
        cues=tuple(e for e in record.events if e.code == "cue"),
        rest=_newest(record, "rest"),
    )


def _newest(record: Record, code: str) -> Event | None:
    return next((e for e in reversed(record.events) if e.code == code), None)


def _peak(record: Record) -> Peak | None:
    """Of every row there is: the rows of a minute cover what finer ones may have lost."""
    found: list[Peak] = []
    for series in (record.close_ups, record.seconds, record.minutes):
        for cell, band in (("front cell", series.front_v), ("far cell", series.far_v)):
            if not np.all(np.isnan(band.high)):
                at = int(np.nanargmax(band.high))
                found.append(Peak(float(band.high[at]), float(series.at_s[at]), cell))
    return max(found, key=lambda peak: peak.volts, default=None)


def _highest(values: Any) -> float | None:
    return None if np.all(np.isnan(values)) else float(np.nanmax(values))
