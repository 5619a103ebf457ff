"""The session in numbers."""

from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from supervisor.report.end_current import EndCurrent, PulseMean, end_current, pulse_mean
from supervisor.report.gaps import Gaps, find_gaps
from supervisor.report.holes import Hole, holes_while_open
from supervisor.report.integral import charge_ah, energy_wh
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

COUNTED_TO_S = 2.0


@dataclass(frozen=True, slots=True)
class Peak:
    """Highest single value of a cell."""

    volts: float
    at_s: float
    cell: str


@dataclass(frozen=True, slots=True)
class Figures:
    counted_to_s: float | None
    charged_ah: float | None
    charged_u_ah: float | None
    charged_wh: float | None
    is_counted: bool  # nothing is missing, as far as the daemon knew
    zero_a: float | None
    recorded_ah: float
    recorded_wh: float
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
    def is_whole(self) -> bool:
        return self.is_counted and not self.has_unseen_end

    @property
    def is_counted_to_end(self) -> bool:
        """Not when it ended without a word, or goes on: the newest count is a minute old then."""
        if self.counted_to_s is None or self.charge_ends_s is None:
            return True
        return self.counted_to_s > self.charge_ends_s - COUNTED_TO_S

    @property
    def closed_s(self) -> float:
        return sum(spell.length_s for spell in self.closed)

    @property
    def hold_s(self) -> float:
        return overlap_s(self.closed, self.stages, "hold")

    @property
    def charge_ends_s(self) -> float | None:
        return self.closed[-1].to_s if self.closed else None

    @property
    def charged_u_wh(self) -> float | None:
        """By the uncertainty of the charge; that of the voltage is small beside it."""
        if not self.charged_ah or self.charged_u_ah is None or self.charged_wh is None:
            return None
        return self.charged_wh * self.charged_u_ah / self.charged_ah

    def cue_counts(self) -> list[tuple[str, int]]:
        """Most frequent first."""
        return Counter(str(cue.data.get("cue", "?")) for cue in self.cues).most_common()


def figures_of(record: Record) -> Figures:
    closed, series, unseen = closed_spells(record), record.series, unseen_ends(record)
    gaps, highest_a = find_gaps(series, closed), _highest(series.current_a.high)
    newest = next((p for p in reversed(record.progress) if p.row.charged_ah is not None), None)
    last = newest.row if newest else None
    finished = _newest(record, "finished")
    return Figures(
        counted_to_s=newest.at_s if newest else None,
        charged_ah=last.charged_ah if last else None,
        charged_u_ah=last.charged_u_ah if last else None,
        charged_wh=last.charged_wh if last else None,
        is_counted=all(p.row.is_whole for p in record.progress),
        zero_a=last.zero_a if last else None,
        recorded_ah=charge_ah(series, closed, record.progress),
        recorded_wh=energy_wh(series, closed, record.progress),
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
        trips=tuple(find_trips(record.events, record.timeline)),
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
