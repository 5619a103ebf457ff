"""Keeps the journal below its size: what is oldest and least is given up first.

First the rows of a second of old sessions (those of a minute and of the moments around events
stay), then whole sessions without a trip, then those with one. The newest session is never touched.
Each step is written down as an event.
"""

import json
import sqlite3
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from supervisor.journal.codes import SESSION_REMOVED, TRIPS
from supervisor.journal.opening import broken_by_damage
from supervisor.journal.schema import SECOND_MS

KEYS = {
    "sample": "session, span_ms, run, mono_ms",
    "temperature": "session, run, mono_ms, probe",
    "progress": "session, run, mono_ms",
}
ROWS_AT_ONCE = 2000
CODES_OF_TRIPS = ", ".join(f"'{code}'" for code in sorted(TRIPS))
TRIPPED = (
    f"EXISTS (SELECT 1 FROM event e WHERE e.session = session.id AND e.code IN ({CODES_OF_TRIPS}))"
)


class Held(OSError):
    """Somebody reads for long: what is given up now would make the files larger, not smaller."""


@broken_by_damage()
def size_bytes(db: sqlite3.Connection) -> int:
    """Of the pages in use, and of the auxiliary file in which changes wait (WAL)."""
    pages, free, each = (
        db.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("page_count", "freelist_count", "page_size")
    )
    wal = Path(f"{db.execute('PRAGMA database_list').fetchone()[2]}-wal")
    return int((pages - free) * each) + (wal.stat().st_size if wal.exists() else 0)


@broken_by_damage()
def prune(
    db: sqlite3.Connection,
    most_bytes: int,
    *,
    keep: int | None,
    room: Callable[[], None] = lambda: None,
) -> None:
    """Until it is small enough, or nothing is left to give up. ``keep``: the session that goes on.
    ``room`` raises OSError when the disk has none left: giving up takes some, for a while. Raises
    Broken, Held."""
    while size_bytes(db) > most_bytes:
        room()
        _empty_wal(db)
        if size_bytes(db) <= most_bytes:
            return
        thinned = _oldest(db, "NOT is_thinned", keep)
        if thinned is not None:
            thin(db, thinned)
            continue
        given_up = _oldest(db, f"NOT {TRIPPED}", keep)
        if given_up is None:
            given_up = _oldest(db, "1", keep)
        if given_up is None:
            return
        remove(db, given_up, "to keep the journal below its size")


def _empty_wal(db: sqlite3.Connection) -> None:
    is_busy = db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    if is_busy:
        raise Held("another program reads it for long, so nothing can be given up")


def _oldest(db: sqlite3.Connection, which: str, keep: int | None) -> int | None:
    newest = db.execute("SELECT max(id) FROM session").fetchone()[0]
    found = db.execute(
        f"SELECT min(id) FROM session WHERE {which} AND id <> ? AND id <> ?", (newest, keep or 0)
    ).fetchone()[0]
    return None if found is None else int(found)


def thin(db: sqlite3.Connection, session: int) -> None:
    """Give up its rows of a second."""
    seconds = ("sample", "session = ? AND span_ms = ?", (session, SECOND_MS))
    _delete_most(db, *seconds)
    with db:
        db.execute("BEGIN IMMEDIATE")
        _delete(db, *seconds)
        db.execute("UPDATE session SET is_thinned = 1 WHERE id = ?", (session,))
        text = f"session {session}: its rows of a second were given up"
        _note(db, "session_thinned", text, {"session": session})
    db.executescript("PRAGMA incremental_vacuum;")  # steps to the end, as execute does not


@broken_by_damage()
def remove(db: sqlite3.Connection, session: int, why: str) -> None:
    """Give up all of it. The event that says so belongs to no session."""
    for table in KEYS:  # what it was is told to the last by its events
        _delete_most(db, table, "session = ?", (session,))
    had_trip, *what = db.execute(
        f"SELECT {TRIPPED}, bank, cells, is_simulated FROM session WHERE id = ?", (session,)
    ).fetchone()
    with db:
        db.execute("BEGIN IMMEDIATE")
        for table in (*KEYS, "event"):
            _delete(db, table, "session = ?", (session,))
        db.execute("UPDATE run SET session = NULL WHERE session = ?", (session,))
        db.execute("DELETE FROM session WHERE id = ?", (session,))
        with_trip = ", with a trip," if had_trip else ""
        data = dict(zip(("bank", "cells", "is_simulated"), what, strict=True))
        text = f"session {session}{with_trip} was removed: {why}"
        _note(db, SESSION_REMOVED, text, {"session": session, **data})
    db.executescript("PRAGMA incremental_vacuum;")  # steps to the end, as execute does not


def _delete_most(db: sqlite3.Connection, table: str, where: str, values: tuple[int, ...]) -> None:
    """All but the last few: in small transactions, so that the auxiliary file stays small and a
    trip never waits for long."""
    key = KEYS[table]
    some = f"SELECT {key} FROM {table} WHERE {where} LIMIT {ROWS_AT_ONCE}"
    while _count(db, table, where, values) > ROWS_AT_ONCE:
        with db:
            db.execute("BEGIN IMMEDIATE")
            db.execute(f"DELETE FROM {table} WHERE ({key}) IN ({some})", values)
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()


def _count(db: sqlite3.Connection, table: str, where: str, values: tuple[int, ...]) -> int:
    """At most one more than is deleted at once."""
    some = f"SELECT 1 FROM {table} WHERE {where} LIMIT {ROWS_AT_ONCE + 1}"
    return int(db.execute(f"SELECT count(*) FROM ({some})", values).fetchone()[0])


def _delete(db: sqlite3.Connection, table: str, where: str, values: tuple[int, ...]) -> None:
    db.execute(f"DELETE FROM {table} WHERE {where}", values)


def _note(db: sqlite3.Connection, code: str, text: str, data: Mapping[str, object]) -> None:
    newest_run = db.execute("SELECT max(id) FROM run").fetchone()[0]
    db.execute(
        "INSERT INTO event (session, run, mono_s, wall_s, code, text, data)"
        " VALUES (NULL, ?, 0, ?, ?, ?, ?)",
        (newest_run, time.time(), code, text, json.dumps(data)),
    )
