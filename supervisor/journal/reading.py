"""A journal's file, opened to be read only: every look is short, every error is in words.

The writer goes on meanwhile (WAL). But what it writes cannot be tidied up while somebody looks, so
nothing here leaves a look open.
"""

import sqlite3
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Self, TypeVar

from supervisor.journal.opening import is_broken
from supervisor.journal.schema import APPLICATION_ID, VERSION
from supervisor.journal.sound import odd, views

Row = TypeVar("Row")
WAIT_S = 2.0
ELSEWHERE = "give the daemon's --state-dir, or --journal FILE"
AGAIN = "try again; if it stays so, as the daemon's user"
KEEP_IT = (
    "keep a copy of the file: `sqlite3 FILE .recover` may get more out of it. The daemon sets it "
    "aside at its next start, and begins a new one"
)


class NoJournal(Exception):
    """Says in words why it cannot be read; ``remedy``: what to do."""

    def __init__(self, problem: str, remedy: str = ELSEWHERE) -> None:
        super().__init__(problem)
        self.remedy = remedy


class Unreadable(NoJournal):
    """There is one, and it cannot be read now, or not all of it."""


class ReadOnlyFile:
    """Raises NoJournal when there is none of this program, Unreadable for all else that the file or
    the disk may have."""

    def __init__(self, path: Path) -> None:
        self._path = path
        if not path.exists():
            raise NoJournal(f"there is no journal {path}")
        try:
            self._db = _connect(path)
        except sqlite3.DatabaseError as error:
            raise self._in_words(error) from None
        (ours,), (version,) = (
            self._look(f"PRAGMA {name}", (), lambda row: row[0])
            for name in ("application_id", "user_version")
        )
        if ours != APPLICATION_ID:
            raise NoJournal(f"{path} is no journal of this program")
        if version > VERSION:
            raise NoJournal(
                f"the journal {path} was written by a newer program (version {version})"
            )
        self._db.text_factory = lambda text: str(text, "utf-8", "replace")
        self._db.executescript(f"PRAGMA temp_store = MEMORY; {views()}")

    def close(self) -> None:
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _look(
        self, sql: str, values: Sequence[Any], make: Callable[[Sequence[Any]], Row]
    ) -> list[Row]:
        """All rows at once."""
        try:
            return [make(row) for row in self._db.execute(sql, values).fetchall()]
        except sqlite3.DatabaseError as error:
            raise self._in_words(error) from None

    def damage(self) -> str:
        """What is wrong inside the file, in words; empty when it is sound. Reads all of it, which
        takes its time on a large one."""
        try:
            (found,) = self._db.execute("PRAGMA quick_check(1)").fetchall()[0]
            where = [] if found != "ok" else list(odd(self._db))
        except sqlite3.DatabaseError as error:
            if not is_broken(error):
                raise self._in_words(error) from None
            found, where = str(error), []
        if where:
            return f"values that nobody can have written there, in {', '.join(where)}"
        return "" if found == "ok" else " ".join(str(found).split())

    def _in_words(self, error: sqlite3.DatabaseError) -> NoJournal:
        if getattr(error, "sqlite_errorcode", 0) == sqlite3.SQLITE_NOTADB:
            why = "it is no journal, or its head is damaged"
            return NoJournal(f"{self._path} cannot be read: {why}")
        if is_broken(error):
            return Unreadable(f"the journal {self._path} is damaged: {error}", KEEP_IT)
        return Unreadable(f"the journal {self._path} cannot be read: {error}", AGAIN)


def _connect(path: Path) -> sqlite3.Connection:
    """Where nobody may write beside it, as on a copy, and nobody writes it now: as it is, for else
    SQLite would want to make its auxiliary files."""
    uri = f"{path.absolute().as_uri()}?mode=ro"
    db = sqlite3.connect(uri, uri=True, timeout=WAIT_S, isolation_level=None)
    try:
        db.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except sqlite3.OperationalError as error:
        db.close()
        wal = path.with_name(f"{path.name}-wal")
        may_not_write = error.sqlite_errorcode & 0xFF in (
            sqlite3.SQLITE_CANTOPEN,
            sqlite3.SQLITE_READONLY,
        )
        if not may_not_write or (wal.exists() and wal.stat().st_size):
            raise
        db = sqlite3.connect(f"{uri}&immutable=1", uri=True, isolation_level=None)
    return db
