"""Time open of which nothing was recorded, and why: the journal keeps the session of what is in
force, from one of its closings on."""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np

from supervisor.journal.codes import SESSION_LEFT
from supervisor.journal.schema import WINDOW_MS
from supervisor.report.record import Record
from supervisor.report.series import Series
from supervisor.report.settings_told import dig
from supervisor.report.spells import Spell, Unseen
from supervisor.report.words import minute

LEAST_S = 5.0  # shorter: the edge of a row
BESIDE_S = 2.0  # an event and the last row before it


class Hole(NamedTuple):
    from_s: float
    to_s: float
    why: str

    @property
    def length_s(self) -> float:
        return self.to_s - self.from_s


def holes_while_open(
    record: Record, closed: Iterable[Spell], unseen: Iterable[Unseen]
) -> tuple[Hole, ...]:
    """In the order of time; while closed, ``gaps`` tells."""
    known = [*closed, *(Spell(one.from_s, one.to_s) for one in unseen), *_rows(record)]
    return tuple(
        Hole(hole.from_s, hole.to_s, _why(hole, record))
        for hole in _between(known, record.timeline.ends_s)
        if hole.length_s > LEAST_S
    )


def _rows(record: Record) -> Iterator[Spell]:
    """What the rows cover, joined: there may be many."""
    window_s = (dig(record.session.settings, "loop.window_milliseconds") or WINDOW_MS) / 1000
    for rows in (record.series, record.minutes):
        yield from _joined(rows, window_s)


def _joined(rows: Series, window_s: float) -> Iterator[Spell]:
    """A row that holds fewer windows than fit into its span covers the end of it."""
    if len(rows) == 0:
        return
    begins_s = rows.at_s - np.minimum(rows.span_s, rows.windows * window_s)
    parts = np.flatnonzero(begins_s[1:] - rows.at_s[:-1] > LEAST_S) + 1
    for part in np.split(np.arange(len(rows)), parts):
        yield Spell(float(begins_s[part[0]]), float(rows.at_s[part[-1]]))


def _between(known: Iterable[Spell], ends_s: float) -> Iterator[Spell]:
    reached_s = 0.0
    for spell in sorted(known):
        if spell.from_s > reached_s:
            yield Spell(reached_s, spell.from_s)
        reached_s = max(reached_s, spell.to_s)
    if ends_s > reached_s:
        yield Spell(reached_s, ends_s)


def _why(hole: Spell, record: Record) -> str:
    inside = [e for e in record.events if hole.from_s - BESIDE_S <= e.at_s < hole.to_s + BESIDE_S]
    begun = [
        f"the supervisor was started at minute {minute(stretch.begins_s)}"
        for stretch in record.timeline.stretches[1:]
        if hole.from_s - BESIDE_S <= stretch.begins_s < hole.to_s
    ]
    told = [*(e.text for e in inside if e.code == SESSION_LEFT), *begun]
    if not told:
        return "no reason is recorded"
    closes = next((e for e in inside if e.code == "closed"), None)
    until = f"the closing at minute {minute(closes.at_s)}" if closes else "the end of this record"
    return f"{'; '.join(told)}. Until {until} the circuit was open, and what it read was not kept"
