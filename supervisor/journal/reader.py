"""Reads the journal, while it is written perhaps: sessions, their samples, events, progress.

Read-only, from another process; the writer is never held up by it (WAL). Errors are sqlite3's.
"""

import json
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from supervisor.journal.records import Span
from supervisor.journal.schema import APPLICATION_ID, MINUTE_MS, SECOND_MS, VERSION, WINDOW_MS

SAMPLES = (
    "SELECT wall_ms, mono_ms, run, span_ms, front_v, front_low_v, front_high_v,"
    " far_v, far_low_v, far_high_v, current_a, current_low_a, current_high_a,"
    " good, windows FROM sample"
)
SPANS_MS = (WINDOW_MS, SECOND_MS, MINUTE_MS)


class NoJournal(Exception):
    """Says in words why there is none to be read."""


@dataclass(frozen=True, slots=True)
class Session:
    """One charge. Times are UTC since 1970; ``ended_wall_s`` None: under way, or ended unseen."""

    id: int
    bank: str
    cells: int
    profile: str
    is_simulated: bool
    began_wall_s: float
    ended_wall_s: float | None
    is_thinned: bool
    settings: dict[str, Any]
    settings_sha256: str
    version: str
    trips: int
    newest_run: int  # of the daemon, in which something of it was written


class Sample(NamedTuple):
    """A span of time, by its end. Counted from the session's first row, over all runs."""

    wall_s: float
    mono_s: float
    run: int
    span_s: float
    front_v: Span
    far_v: Span
    current_a: Span
    good: int
    windows: int


class EventRow(NamedTuple):
    id: int
    wall_s: float
    mono_s: float
    run: int
    code: str
    text: str
    data: dict[str, Any]


class ProgressRow(NamedTuple):
    wall_s: float
    mono_s: float
    run: int
    circuit: str
    stage: str
    charged_ah: float | None
    charged_u_ah: float | None
    charged_wh: float | None
    is_whole: bool
    zero_a: float | None
    at_rest_v: float | None
    resistance_ohm: float | None


class TemperatureRow(NamedTuple):
    wall_s: float
    mono_s: float
    run: int
    probe: str
    celsius: float | None


def _connect(path: Path) -> sqlite3.Connection:
    """Read-only. Where nobody may write beside it, as on a copy, and nobody writes it now: as it
    is, for else SQLite would want to make its auxiliary files."""
    uri = f"{path.absolute().as_uri()}?mode=ro"
    db = sqlite3.connect(uri, uri=True, timeout=2)
    try:
        db.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except sqlite3.OperationalError:
        db.close()
        wal = path.with_name(f"{path.name}-wal")
        if wal.exists() and wal.stat().st_size:
            raise
        db = sqlite3.connect(f"{uri}&immutable=1", uri=True)
    return db


class Reader:
    """Of one file. Raises NoJournal when it cannot be opened or is none."""

    def __init__(self, path: Path) -> None:
        if not path.exists():
            raise NoJournal(f"there is no journal {path}")
        try:
            self._db = _connect(path)
            ours = self._db.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
            version = self._db.execute("PRAGMA user_version").fetchone()[0]
        except sqlite3.Error as error:
            raise NoJournal(f"the journal {path} cannot be read: {error}") from None
        if not ours:
            raise NoJournal(f"{path} is no journal of this program")
        if version > VERSION:
            raise NoJournal(
                f"the journal {path} was written by a newer program (version {version})"
            )

    def close(self) -> None:
        self._db.close()

    def __enter__(self) -> "Reader":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def sessions(self) -> list[Session]:
        """Oldest first."""
        rows = self._db.execute(
            "SELECT s.id, s.bank, s.cells, s.profile, s.is_simulated, s.wall_s, s.ended_wall_s,"
            " s.is_thinned, t.text, s.settings, r.version,"
            " (SELECT count(*) FROM event e WHERE e.session = s.id AND e.code = 'trip'),"
            " max(s.run, coalesce((SELECT max(run) FROM progress p WHERE p.session = s.id), 0))"
            " FROM session s JOIN settings t ON t.sha256 = s.settings JOIN run r ON r.id = s.run"
            " ORDER BY s.id"
        )
        return [
            Session(
                id=row[0], bank=row[1], cells=row[2], profile=row[3], is_simulated=bool(row[4]),
                began_wall_s=row[5], ended_wall_s=row[6], is_thinned=bool(row[7]),
                settings=json.loads(row[8]), settings_sha256=row[9], version=row[10], trips=row[11],
                newest_run=row[12],
            )
            for row in rows
        ]  # fmt: skip

    def session(self, number: int) -> Session | None:
        return next((s for s in self.sessions() if s.id == number), None)

    def samples(self, session: int, span_ms: int) -> Iterator[Sample]:
        """In the order of time."""
        rows = self._db.execute(
            f"{SAMPLES} WHERE session = ? AND span_ms = ? ORDER BY run, mono_ms", (session, span_ms)
        )
        return (_sample(row) for row in rows)

    def newest_samples(self, session: int, span_ms: int, within_s: float) -> list[Sample]:
        """Of the newest run, no older than this before its last one; in the order of time."""
        where = "session = ? AND span_ms = ?"
        last = self._db.execute(
            f"SELECT run, mono_ms FROM sample WHERE {where}"
            " ORDER BY run DESC, mono_ms DESC LIMIT 1",
            (session, span_ms),
        ).fetchone()
        if last is None:
            return []
        rows = self._db.execute(
            f"{SAMPLES} WHERE {where} AND run = ? AND mono_ms > ? ORDER BY mono_ms",
            (session, span_ms, last[0], last[1] - within_s * 1000),
        )
        return [_sample(row) for row in rows]

    def newest_wall_s(self, session: int) -> float | None:
        """Of its rows of a minute."""
        found = self._db.execute(
            "SELECT max(wall_ms) FROM sample WHERE session = ? AND span_ms = ?",
            (session, MINUTE_MS),
        ).fetchone()[0]
        return None if found is None else found / 1000

    def events(self, session: int | None = None, *, after: int = 0) -> list[EventRow]:
        """Of one session, or of all the file; with a higher number than ``after``."""
        which = "session = ?" if session is not None else "? IS NULL"
        rows = self._db.execute(
            f"SELECT id, wall_s, mono_s, run, code, text, data FROM event"
            f" WHERE {which} AND id > ? ORDER BY id",
            (session, after),
        )
        return [EventRow._make((*row[:6], json.loads(row[6]))) for row in rows]

    def progress(self, session: int) -> list[ProgressRow]:
        rows = self._db.execute(
            "SELECT wall_ms / 1000.0, mono_ms / 1000.0, run, circuit, stage, charged_ah,"
            " charged_u_ah, charged_wh, is_whole, zero_a, at_rest_v, resistance_ohm"
            " FROM progress WHERE session = ? ORDER BY run, mono_ms",
            (session,),
        )
        return [ProgressRow._make((*row[:8], bool(row[8]), *row[9:])) for row in rows]

    def temperatures(self, session: int) -> list[TemperatureRow]:
        rows = self._db.execute(
            "SELECT wall_ms / 1000.0, mono_ms / 1000.0, run, probe, celsius"
            " FROM temperature WHERE session = ? ORDER BY run, mono_ms",
            (session,),
        )
        return [TemperatureRow(*row) for row in rows]


def _sample(row: Sequence[Any]) -> Sample:
    wall_ms, mono_ms, run, span_ms = row[:4]
    front_v, far_v, current_a = Span(*row[4:7]), Span(*row[7:10]), Span(*row[10:13])
    return Sample(
        wall_ms / 1000, mono_ms / 1000, run, span_ms / 1000, front_v, far_v, current_a, *row[13:]
    )
