"""Which session goes on, over restarts and other settings, when it was last heard of, and what it
had counted by then.

Notes that cannot be read say nothing.
"""

import logging
import sqlite3
from pathlib import Path
from typing import NamedTuple

from supervisor.journal.codes import CLOSES, SESSION_GOES_ON, SESSION_REMOVED
from supervisor.journal.reader import NoJournal, Reader
from supervisor.journal.sound import block

log = logging.getLogger(__name__)
LAST_SIGN = """
    SELECT mono_s, wall_s FROM (
        SELECT id AS session, run, mono_s, wall_s FROM session
        UNION ALL SELECT session, run, mono_s, wall_s FROM event
        UNION ALL SELECT session, run, mono_ms / 1000.0, wall_ms / 1000.0 FROM sample
        UNION ALL SELECT session, run, mono_ms / 1000.0, wall_ms / 1000.0 FROM progress
        UNION ALL SELECT session, run, mono_ms / 1000.0, wall_ms / 1000.0 FROM temperature
    ) WHERE session = ? AND run = ? ORDER BY mono_s DESC LIMIT 1
"""


CODES_OF_CLOSINGS = ", ".join(f"'{code}'" for code in sorted(CLOSES | {SESSION_GOES_ON}))


class Kind(NamedTuple):
    """Sessions of one kind go on with one another."""

    bank: str
    cells: int
    is_simulated: bool


class Sign(NamedTuple):
    mono_s: float
    wall_s: float


def last_of(db: sqlite3.Connection, kind: Kind) -> int | None:
    """None when the last one of its kind has ended, or is not there: an older one is another
    charge."""
    number, has_ended = db.execute(
        "SELECT max(id), ended_wall_s IS NOT NULL FROM session"
        " WHERE bank = ? AND cells = ? AND is_simulated = ?",
        kind,
    ).fetchone()
    notes = db.execute("SELECT data FROM event WHERE code = ?", (SESSION_REMOVED,)).fetchall()
    is_gone = any(_was_later(data, kind, number or 0) for (data,) in notes)
    return None if is_gone or has_ended else number


def _was_later(note: str, kind: Kind, number: int) -> bool:
    """What the note of an older program does not say may have been so."""
    removed = block(note)
    was = kind._asdict() | {key: removed[key] for key in Kind._fields if key in removed}
    session = removed.get("session")
    return Kind(**was) == kind and isinstance(session, int) and session > number


def under_way_before(db: sqlite3.Connection, run: int | None) -> int | None:
    """The session of the run before this one, simulated as it or not; of whatever bank: its name
    may have been changed since."""
    found = db.execute(
        "SELECT b.session FROM run a JOIN run b ON b.id < a.id AND b.is_simulated = a.is_simulated"
        " WHERE a.id = ? ORDER BY b.id DESC LIMIT 1",
        (run,),
    ).fetchone()
    return None if found is None else found[0]


def newest_run_closed(db: sqlite3.Connection, session: int | None) -> int | None:
    """In which it was closed."""
    found: int | None = db.execute(
        "SELECT max(run) FROM (SELECT run FROM session WHERE id = ?"
        f" UNION ALL SELECT run FROM event WHERE session = ? AND code IN ({CODES_OF_CLOSINGS}))",
        (session, session),
    ).fetchone()[0]
    return found


def last_sign(db: sqlite3.Connection, session: int, run: int) -> Sign:
    """Of what was closed in that run."""
    return Sign._make(db.execute(LAST_SIGN, (session, run)).fetchone())


def counted_before(path: Path) -> str:
    """The newest ``Counted``, of whatever run; empty where there is none, or it cannot be read: the
    start goes on without it."""
    try:
        with Reader(path) as reader:
            return reader.counted()
    except (NoJournal, OSError) as problem:
        log.warning("what a session had counted before this start is not known: %s", problem)
        return ""
