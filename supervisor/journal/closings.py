"""How a session's last closing ended."""

from collections.abc import Iterable
from dataclasses import dataclass

from supervisor.journal.codes import CLOSES, OPENS
from supervisor.journal.reader import EventRow, ProgressRow, Reader, Sample
from supervisor.journal.schema import MINUTE_MS

JUST_THE_NEWEST_S = 1.0


@dataclass(frozen=True, slots=True)
class LastClosing:
    """``opened_wall_s`` None: it is closed yet. ``by``: code of the event that ended it."""

    opened_wall_s: float | None = None
    by: str = ""


def last_closing(events: Iterable[EventRow]) -> LastClosing | None:
    """None: no event tells of any. A pause of a pulsed hold is an end until another one follows. An
    end whose closing was lost is one all the same."""
    last: LastClosing | None = None
    for event in events:
        if event.code in CLOSES:
            last = LastClosing()
        elif event.code in OPENS:
            last = _ended_by(event, last)
    return last


def _ended_by(event: EventRow, last: LastClosing | None) -> LastClosing | None:
    if last is None and not event.data.get("was_closed", event.code != "ended"):
        return None
    if last is None or last.opened_wall_s is None:
        return LastClosing(event.wall_s, event.code)
    return LastClosing(last.opened_wall_s, event.code) if last.by == "paused" else last


def last_closed_wall_s(reader: Reader, session: int) -> float | None:
    """Until when it was closed, as far as that was recorded; None: nothing tells of it."""
    last = last_closing(reader.events(session))
    if last is not None and last.opened_wall_s is not None:
        return last.opened_wall_s
    known: list[ProgressRow | Sample] = []
    known += [row for row in reader.progress(session) if row.circuit == "closed"][-1:]
    if last is not None:  # else its event was lost, and it may have been open for long
        known += reader.newest_samples(session, MINUTE_MS, JUST_THE_NEWEST_S)
    return max(known, key=_place).wall_s if known else None


def _place(row: ProgressRow | Sample) -> tuple[int, float]:
    """The wall clock may have been set back, by years."""
    return row.run, row.mono_s
