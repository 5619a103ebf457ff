"""Opens the journal's file to be written: a sound one, of this program and version, or none."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from supervisor.journal.schema import APPLICATION_ID, MIGRATIONS, VERSION

PAGES_PER_CHECKPOINT = 256
WAL_BYTES = 2_000_000  # kept of the auxiliary file once all of it is in the other


class Broken(Exception):
    """The file is no sound journal, or one of a newer version: to be set aside."""


def is_broken(error: sqlite3.DatabaseError) -> bool:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF  # without its extension
    return code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


@contextmanager
def broken_by_damage() -> Iterator[None]:
    """Whoever works on the file, damage is Broken: never the fault of what was to be written."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        if is_broken(error):
            raise Broken(str(error)) from None
        raise


@broken_by_damage()
def open_to_write(path: Path, *, check: bool, wait_s: float) -> sqlite3.Connection:
    """Sound, ours, and of this version: migrated when it was of an older one. ``wait_s``: for
    another program that writes. Raises Broken, sqlite3.Error."""
    db = sqlite3.connect(path, timeout=wait_s, isolation_level=None)
    try:
        if check:
            _check(db)
        db.execute("PRAGMA auto_vacuum = INCREMENTAL")
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = FULL")
        db.execute(f"PRAGMA wal_autocheckpoint = {PAGES_PER_CHECKPOINT}")
        db.execute(f"PRAGMA journal_size_limit = {WAL_BYTES}")
        _migrate(db)
    except BaseException:
        db.close()
        raise
    return db


def _check(db: sqlite3.Connection) -> None:
    """Raises Broken."""
    found = db.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        raise Broken(found)
    version = db.execute("PRAGMA user_version").fetchone()[0]
    is_empty = db.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0] == 0
    is_ours = db.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    if not (is_ours or is_empty):
        raise Broken("it is no journal of this program")
    if version > VERSION:
        raise Broken(f"it is of version {version}, written by a newer program")


def _migrate(db: sqlite3.Connection) -> None:
    version = db.execute("PRAGMA user_version").fetchone()[0]
    for number, script in enumerate(MIGRATIONS[version:], version + 1):
        db.executescript(
            f"BEGIN IMMEDIATE; {script};"
            f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {number}; COMMIT;"
        )
