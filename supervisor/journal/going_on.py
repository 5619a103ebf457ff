"""Which session goes on, over restarts and other settings, and when it was last heard of."""

import json
import sqlite3
from typing import NamedTuple

from supervisor.journal.codes import SESSION_GOES_ON, SESSION_REMOVED

LAST_SIGN = """
    SELECT mono_s, wall_s FROM (
        SELECT id AS session, run, mono_s, wall_s FROM session
        UNION ALL SELECT session, run, mono_s, wall_s FROM event
        UNION ALL SELECT session, run, mono_ms / 1000.0, wall_ms / 1000.0 FROM sample
        UNION ALL SELECT session, run, mono_ms / 1000.0, wall_ms / 1000.0 FROM progress
        UNION ALL SELECT session, run, mono_ms / 1000.0, wall_ms / 1000.0 FROM temperature
    ) WHERE session = ? AND run = ? ORDER BY mono_s DESC LIMIT 1
"""


class Kind(NamedTuple):
    """Sessions of one kind go on with one another."""

    bank: str
    cells: int
    is_simulated: bool


class Sign(NamedTuple):
    mono_s: float
    wall_s: float


def last_of(db: sqlite3.Connection, kind: Kind) -> int | None:
    """None when the last one of its kind is not there: an older one is another charge."""
    found: int | None = db.execute(
        "SELECT max(id) FROM session WHERE bank = ? AND cells = ? AND is_simulated = ?", kind
    ).fetchone()[0]
    notes = db.execute("SELECT data FROM event WHERE code = ?", (SESSION_REMOVED,)).fetchall()
    is_gone = any(_was_later(json.loads(data), kind, found or 0) for (data,) in notes)
    return None if is_gone else found


def _was_later(removed: dict[str, object], kind: Kind, number: int) -> bool:
    """What the note of an older program does not say may have been so."""
    was = kind._asdict() | {key: removed[key] for key in Kind._fields if key in removed}
    return Kind(**was) == kind and int(str(removed["session"])) > number


def newest_run_closed(db: sqlite3.Connection, session: int | None) -> int | None:
    """In which it was closed."""
    found: int | None = db.execute(
        "SELECT max(run) FROM (SELECT run FROM session WHERE id = ?"
        " UNION ALL SELECT run FROM event WHERE session = ? AND code = ?)",
        (session, session, SESSION_GOES_ON),
    ).fetchone()[0]
    return found


def last_sign(db: sqlite3.Connection, session: int, run: int) -> Sign:
    """Of what was closed in that run."""
    return Sign._make(db.execute(LAST_SIGN, (session, run)).fetchone())
