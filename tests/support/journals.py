"""Records for a journal, and a charge that never was."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing as closing_db
from pathlib import Path

from supervisor.journal.reader import Reader
from supervisor.journal.records import (
    Closing,
    Event,
    Record,
    Run,
    SessionEnd,
    SessionLeft,
    Span,
    UnseenEnd,
    Window,
)
from supervisor.journal.schema import FILE_NAME
from supervisor.journal.store import Store

WALL_S = 1_780_000_000.0
WINDOW_S = 0.1
PAGE_BYTES = 4096


def run(mono_s: float = 0.0, **changes: object) -> Run:
    one = Run(mono_s, WALL_S + mono_s, "0.1", "Hut bank", is_simulated=True, settings='{"a": 1}')
    return one._replace(**changes)  # type: ignore[arg-type]


def closing(mono_s: float, *, is_new: bool = True, cells: int = 32) -> Closing:
    return Closing(mono_s, WALL_S + mono_s, is_new, cells, "bank")


def end(mono_s: float) -> SessionEnd:
    return SessionEnd(mono_s, WALL_S + mono_s)


def left(mono_s: float) -> SessionLeft:
    return SessionLeft(mono_s, WALL_S + mono_s)


def unseen_end(mono_s: float) -> UnseenEnd:
    """Found at a start."""
    return UnseenEnd(mono_s, WALL_S + mono_s, "ended without a word", "look at the bank")


def event(mono_s: float, code: str = "trip", *, is_close: bool = True, **data: object) -> Event:
    return Event(mono_s, WALL_S + mono_s, code, f"text of {code}", data, is_close)  # type: ignore[arg-type]


def window(mono_s: float, volts: float = 3.5, amperes: float = 50.0, **changes: object) -> Window:
    one = Window(
        mono_s,
        WALL_S + mono_s,
        Span(volts, volts - 0.01, volts + 0.01),
        Span(volts - 0.001, volts - 0.011, volts + 0.009),
        Span(amperes, amperes - 1, amperes + 1),
        is_good=True,
        is_fine=True,
    )
    return one._replace(**changes)  # type: ignore[arg-type]


def windows(from_s: float, to_s: float) -> Iterator[Window]:
    """Every 0.1 s; the first just after ``from_s``."""
    first, last = round(from_s / WINDOW_S) + 1, round(to_s / WINDOW_S)
    return (window(round(k * WINDOW_S, 3)) for k in range(first, last + 1))


def written(folder: Path, *records: Record) -> Path:
    """A journal with these; its path."""
    path = folder / FILE_NAME
    store = Store(path)
    store.connect()
    store.write(records, flush=True)
    store.disconnect()
    return path


def codes(path: Path) -> list[str]:
    """Of all events."""
    with Reader(path) as reader:
        return [event.code for event in reader.events()]


def spoil(path: Path, table: str) -> None:
    """A table's first page, as by a card that wears out."""
    with sqlite3.connect(path) as db:
        root = "SELECT rootpage FROM sqlite_schema WHERE name = ?"
        (page,) = db.execute(root, (table,)).fetchone()
    db.close()
    _overwrite(path, page - 1, page)


def spoil_pages(path: Path, from_share: float, to_share: float) -> None:
    """Of the file as it is."""
    pages = path.stat().st_size // PAGE_BYTES
    _overwrite(path, int(from_share * pages), int(to_share * pages))


def _overwrite(path: Path, first: int, end: int) -> None:
    with closing_db(sqlite3.connect(path)) as db:  # or what waits beside it would mend it
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    with path.open("r+b") as file:
        file.seek(first * PAGE_BYTES)
        file.write(b"\xff" * PAGE_BYTES * (end - first))
