"""How little flowed in the end: over what it was averaged, and for how long."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from supervisor.report.ending import is_full, is_under_way
from supervisor.report.in_force import along, in_force
from supervisor.report.integral import SECONDS_PER_HOUR, charge_ah, net_amperes
from supervisor.report.record import Event, Record
from supervisor.report.series import Series
from supervisor.report.spells import Spell
from supervisor.report.words import duration, minute

OVER_S = 60.0  # of a full bank
LAST_S = 10.0  # of one that is not: nothing was tapering off
SOON_S = 2.0  # of one that opens by itself: declared full, and open
VERDICTS_OWN = "The verdict names the last second alone, with the zero of the shunt in it."
SLACK_S = 0.05  # half a window: rows and events are not dated alike


@dataclass(frozen=True, slots=True)
class EndCurrent:
    """Mean of what was measured of ``spell``; ``known_s`` of it has good samples.

    ``is_net``: the zero of the shunt was told, and is taken out. ``is_full``: the bank was found
    full; else it is no end current.
    """

    amperes: float
    spell: Spell
    known_s: float
    is_net: bool
    is_full: bool
    is_under_way: bool = False

    @property
    def label(self) -> str:
        if self.is_full:
            return "End current"
        return "Newest current" if self.is_under_way else "Current when it opened"

    @property
    def words(self) -> str:
        """What was averaged, and why the verdict may tell another figure."""
        zero = "taken out" if self.is_net else "not known, so it was not taken out"
        seconds = f"{self.known_s:.0f} s" if self.known_s >= 1 else f"{self.known_s:.1f} s"
        words = (
            f"mean of the last {seconds} closed, minute {minute(self.spell.from_s, 2)} to"
            f" {minute(self.spell.to_s, 2)}; the zero of the shunt {zero}"
        )
        if not self.is_full:
            return words
        return f"{words}. {VERDICTS_OWN}"


@dataclass(frozen=True, slots=True)
class PulseMean:
    """Of a pulsed hold: the charge of the newest pulse, spread over the time since it began.

    ``end_a``: less than this is full, by the settings in force; None: they do not tell.
    """

    amperes: float
    pulse: Spell
    declared_s: float
    end_a: float | None

    @property
    def words(self) -> str:
        below = "" if self.end_a is None else f", less than the end current of {self.end_a:g} A"
        return (
            f"{self.amperes:z.2f} A over the {duration(self.declared_s - self.pulse.from_s)} since"
            f" the last pulse of {duration(self.pulse.length_s)} began{below}"
        )


def end_current(record: Record, closed: Sequence[Spell]) -> EndCurrent | None:
    """Of the last closing: by the finest rows there are of its last minute, or of its last seconds
    where the bank was not full."""
    if not closed:
        return None
    return next(_means(record, closed[-1]), None)


def _means(record: Record, last: Spell) -> Iterator[EndCurrent]:
    full = is_full(record)
    is_net = any(p.row.zero_a is not None for p in record.progress)
    for series in (record.seconds, record.close_ups, record.minutes):
        rows = _last_rows(series, last, OVER_S if full else LAST_S)
        amperes = net_amperes(rows, record.progress)
        known = ~np.isnan(amperes)
        if known.any():
            span_s, at_s = rows.span_s[known], rows.at_s[known]
            mean_a = float(np.average(amperes[known], weights=span_s))
            spell = Spell(float(at_s[0] - span_s[0]), float(at_s[-1]))
            known_s = float(span_s.sum())
            yield EndCurrent(mean_a, spell, known_s, is_net, full, is_under_way(record))


def _last_rows(series: Series, last: Spell, over_s: float) -> Series:
    """Those wholly within the last so many seconds closed; of rows as long as that, within two."""
    begins_s = series.at_s - series.span_s
    earliest_s = np.maximum(last.from_s, last.to_s - np.maximum(over_s, 2 * series.span_s))
    return series[(begins_s > earliest_s - SLACK_S) & (series.at_s < last.to_s + SLACK_S)]


def pulse_mean(record: Record, closed: Sequence[Spell], finished: Event) -> PulseMean | None:
    """What decided that a pulsed hold is full, from the samples; None: it opened by itself then."""
    before = [spell for spell in closed if spell.from_s < finished.at_s]
    if not before or finished.at_s - before[-1].to_s < SOON_S:
        return None
    pulse = before[-1]
    over_h = (finished.at_s - pulse.from_s) / SECONDS_PER_HOUR
    charged_ah = charge_ah(record.series, [pulse], record.progress)
    end_a = along(in_force(record), "charge.full.end_amperes", np.array([finished.at_s]))[0]
    return PulseMean(
        charged_ah / over_h, pulse, finished.at_s, None if np.isnan(end_a) else float(end_a)
    )
