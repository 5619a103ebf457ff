"""All that the journal knows of one session, on one axis of time."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from supervisor.journal.codes import FOUND_AT_START, is_unseen_end
from supervisor.journal.reader import EventRow, ProgressRow, Reader, Session, TemperatureRow
from supervisor.journal.schema import MINUTE_MS, SECOND_MS, WINDOW_MS
from supervisor.report.rows import read_rows
from supervisor.report.series import Floats, Series, finest, on_axis
from supervisor.report.sound import block
from supervisor.report.timeline import Stamp, Timeline

Tell = Callable[[str], None]


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
        return found or is_unseen_end(self.code)

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
    tell(f"session {session.id}: samples")
    tables = [read_rows(reader.samples(session.id, ms)) for ms in (SECOND_MS, MINUTE_MS, WINDOW_MS)]
    tell(f"session {session.id}: events")
    events, progress = reader.events(session.id), reader.progress(session.id)
    temperatures = reader.temperatures(session.id)
    tell(f"session {session.id}: is the file sound?")
    damage = reader.damage()
    stamps = [_stamp(row) for rows in tables for row in _ends(rows)]
    stamps += [Stamp(e.run, e.mono_s, e.wall_s) for e in events if _has_place(e)]
    stamps += [Stamp(row.run, row.mono_s, row.wall_s) for row in progress]
    stamps += [Stamp(row.run, row.mono_s, row.wall_s) for row in temperatures]
    if not stamps:
        raise NothingToReport(
            f"session {session.id} has no samples and no events: nothing was recorded in it, or it"
            " began just now; report another one, or wait a minute"
        )
    timeline = Timeline(stamps)
    seconds, minutes, close_ups = (on_axis(rows, timeline) for rows in tables)
    return Record(
        replace(session, settings=block(session.settings)), timeline, seconds, minutes, close_ups,
        events=tuple(sorted((_placed(e, timeline) for e in events), key=lambda e: e.at_s)),
        progress=tuple(Progress(timeline.at_s(p.run, p.mono_s), p) for p in progress),
        temperatures=tuple(_curves(temperatures, timeline)),
        damage=damage,
    )  # fmt: skip


def _stamp(row: Floats) -> Stamp:
    return Stamp(int(row[0]), float(row[1]), float(row[2]))


def _ends(rows: Floats) -> list[Floats]:
    """First and last row of each run."""
    edges = np.flatnonzero(np.diff(rows[:, 0], prepend=-1, append=-1))
    return [rows[k] for edge in edges for k in (edge - 1, edge) if 0 <= k < len(rows)]


def _has_place(event: EventRow) -> bool:
    """The journal's own notes have no monotonic time."""
    return not (event.code.startswith("journal_") and event.mono_s == 0)


def _placed(event: EventRow, timeline: Timeline) -> Event:
    if _has_place(event):
        at_s = timeline.at_s(event.run, event.mono_s)
    else:
        at_s = timeline.of_wall_s(event.run, event.wall_s)
    return Event(at_s, event.wall_s, event.run, event.code, event.text, block(event.data))


def _curves(rows: list[TemperatureRow], timeline: Timeline) -> list[Curve]:
    found: dict[str, list[tuple[float, float | None]]] = {}
    for row in rows:
        at_s = timeline.at_s(row.run, row.mono_s)
        found.setdefault(row.probe, []).append((at_s, row.celsius))
    return [
        Curve(name, *np.array(points, dtype=float).T)
        for name, points in sorted(found.items())
    ]  # fmt: skip
