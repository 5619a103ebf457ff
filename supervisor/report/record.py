"""All that the journal knows of one session, on one axis of time."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property, partial
from math import nan
from typing import Any, Generic, TypeVar

import numpy as np

from supervisor.journal.codes import FOUND_AT_START, UNSEEN_END
from supervisor.journal.reader import EventRow, ProgressRow, Reader, Session, TemperatureRow
from supervisor.journal.schema import MINUTE_MS, SECOND_MS, WINDOW_MS
from supervisor.report.rows import read_rows
from supervisor.report.series import Floats, Series, finest, on_axis
from supervisor.report.sound import sound_row
from supervisor.report.timeline import Stamp, Timeline

Tell = Callable[[str], None]
Row = TypeVar("Row")
SPANS_MS = (SECOND_MS, MINUTE_MS, WINDOW_MS)


class NothingToReport(Exception):
    """Says in words why, and what to do."""


@dataclass(frozen=True, slots=True)
class Event:
    at_s: float
    wall_s: float
    run: int
    code: str
    text: str
    data: dict[str, Any]

    @property
    def is_unseen_end(self) -> bool:
        """Of a run, while closed; an older record of a lockout does not tell, and counts as one."""
        found = self.code == FOUND_AT_START and self.data.get("ended_unseen") is not False
        return found or self.code == UNSEEN_END

    @property
    def is_found_locked(self) -> bool:
        """A lockout found at a start, of a run that ended with words."""
        return self.code == FOUND_AT_START and not self.is_unseen_end


@dataclass(frozen=True, slots=True)
class Progress:
    at_s: float
    row: ProgressRow


@dataclass(frozen=True, slots=True)
class Curve:
    """Of one temperature probe; nan where it did not answer."""

    name: str
    at_s: Floats
    celsius: Floats


@dataclass(frozen=True)
class Record:
    """Read at once: while it is looked at the journal may go on."""

    session: Session
    timeline: Timeline
    seconds: Series
    minutes: Series
    close_ups: Series
    events: tuple[Event, ...]
    progress: tuple[Progress, ...]
    temperatures: tuple[Curve, ...]
    damage: str = ""  # of the journal's file, in words
    odd_rows: int = 0  # with values that cannot be: they are left out

    @cached_property
    def series(self) -> Series:
        """The finest that there is of every moment, but for the close-ups."""
        return finest(self.seconds, self.minutes)

    @property
    def has_samples(self) -> bool:
        return len(self.series) > 0 or len(self.close_ups) > 0

    @property
    def has_current(self) -> bool:
        """Whether any good sample of it was kept."""
        return not bool(np.isnan(self.series.current_a.mean).all())

    @property
    def name(self) -> str:
        simulated = "SIMULATED " if self.session.is_simulated else ""
        return f"{simulated}session {self.session.id}"


def read_record(reader: Reader, session: Session, tell: Tell) -> Record:
    """Raises NothingToReport; journal.NoJournal when the file cannot be read."""
    tell(f"session {session.id}: samples")
    read = [read_rows(partial(reader.samples, session.id, ms)) for ms in SPANS_MS]
    tell(f"session {session.id}: events")
    events, progress = _Sound(reader.events(session.id)), _Sound(reader.progress(session.id))
    temperatures = _Sound(reader.temperatures(session.id))
    stamps = [_stamp(row) for rows, _ in read for row in _ends(rows)]
    stamps += [_event_stamp(e) for e in events.rows]
    stamps += [_stamp_of(row) for row in progress.rows]
    stamps += [_stamp_of(row) for row in temperatures.rows]
    timeline = Timeline(stamp for stamp in stamps if stamp.is_sound)
    if not timeline.stretches:
        raise NothingToReport(
            f"session {session.id} has no samples and no events: nothing was recorded in it, or it"
            " began just now; report another one, or wait a minute"
        )
    tell(f"session {session.id}: is the file sound?")
    seconds, minutes, close_ups = (on_axis(rows, timeline) for rows, _ in read)
    return Record(
        sound_row(session), timeline, seconds, minutes, close_ups,
        events=tuple(sorted((_placed(e, timeline) for e in events.rows), key=lambda e: e.at_s)),
        progress=tuple(
            Progress(timeline.at_s(p.run, p.mono_s), p)
            for p in progress.rows
            if _stamp_of(p).is_sound
        ),
        temperatures=tuple(_curves(temperatures.rows, timeline)),
        damage=reader.damage(),
        odd_rows=sum(odd for _, odd in read) + events.odd + progress.odd + temperatures.odd,
    )  # fmt: skip


class _Sound(Generic[Row]):
    """Rows as far as they can be believed; ``odd``: of how many that was not all."""

    def __init__(self, rows: Iterable[Row]) -> None:
        pairs = [(row, sound_row(row)) for row in rows]
        self.rows = [sound for _, sound in pairs]
        self.odd = sum(row != sound for row, sound in pairs)


def _stamp(row: Floats) -> Stamp:
    return Stamp(int(row[0]), float(row[1]), float(row[2]))


def _ends(rows: Floats) -> list[Floats]:
    """First and last row of each run."""
    edges = np.flatnonzero(np.diff(rows[:, 0], prepend=-1, append=-1))
    return [rows[k] for edge in edges for k in (edge - 1, edge) if 0 <= k < len(rows)]


def _stamp_of(row: ProgressRow | TemperatureRow | EventRow) -> Stamp:
    return Stamp(row.run, row.mono_s, row.wall_s)


def _event_stamp(event: EventRow) -> Stamp:
    """The journal's own notes have no monotonic time."""
    is_note = event.code.startswith("journal_") and event.mono_s == 0
    return _stamp_of(event)._replace(mono_s=nan) if is_note else _stamp_of(event)


def _placed(event: EventRow, timeline: Timeline) -> Event:
    run, at_s = timeline.place(_event_stamp(event))
    return Event(at_s, event.wall_s, run, event.code, event.text, event.data)


def _curves(rows: list[TemperatureRow], timeline: Timeline) -> list[Curve]:
    found: dict[str, list[tuple[float, float | None]]] = {}
    for row in rows:
        if _stamp_of(row).is_sound:
            at_s = timeline.at_s(row.run, row.mono_s)
            found.setdefault(row.probe, []).append((at_s, row.celsius))
    return [
        Curve(name, *np.array(points, dtype=float).T)
        for name, points in sorted(found.items())
    ]  # fmt: skip
