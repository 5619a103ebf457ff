"""Writes the journal's file. One thread only; every call is one transaction, all of it or nothing.

A commit is on the medium when it returns (WAL with ``synchronous=FULL``). Errors are sqlite3's.
"""

import json
import sqlite3
from collections.abc import Iterable
from hashlib import sha256
from pathlib import Path

from supervisor.journal.codes import (
    CLOSES,
    OF_NO_SESSION,
    SESSION_BEGUN_ANEW,
    SESSION_GOES_ON,
    UNSEEN_END,
)
from supervisor.journal.folding import MS, Folding, Row
from supervisor.journal.going_on import (
    Kind,
    last_of,
    last_sign,
    newest_run_closed,
    under_way_before,
)
from supervisor.journal.opening import broken_by_damage, open_to_write
from supervisor.journal.records import (
    Closing,
    Counted,
    Event,
    Progress,
    Record,
    Run,
    SessionEnd,
    SessionLeft,
    SettingsInForce,
    Temperature,
    UnseenEnd,
    Value,
    Window,
)

LOCKED_S = 2.0  # by another process, that removes a session perhaps


class Store:
    """Of one file. Raises Broken, sqlite3.Error, OSError.

    It may be disconnected and connected again in the midst of a run.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._db: sqlite3.Connection | None = None
        self._inode = 0
        self._folding = Folding()
        self._run: int | None = None
        self._spec: Run | None = None
        self._settings = ""
        self._session: int | None = None
        self._closed: int | None = None  # event of a closing, of which nobody knows the session yet

    @property
    def db(self) -> sqlite3.Connection:
        assert self._db is not None
        return self._db

    @broken_by_damage()
    def connect(self) -> bool:
        """Whether the file knows of this run already; if not, it has to be told."""
        if self._db is not None and not self._is_gone():
            return self._run is None or self._knows_session()
        self.disconnect()
        is_checked = self._path.exists() and self._path.stat().st_ino == self._inode
        # Once is enough: it takes its time.
        self._db = open_to_write(self._path, check=not is_checked, wait_s=LOCKED_S)
        self._inode = self._path.stat().st_ino
        return self._run is not None and self._knows_run()

    def disconnect(self) -> None:
        if self._db is not None:
            self._db.close()
            self._db = None

    def _is_gone(self) -> bool:
        """Moved or removed by somebody: what is written now would be lost without a word."""
        return not self._path.exists() or self._path.stat().st_ino != self._inode

    def _knows_run(self) -> bool:
        assert self._spec is not None
        where = "SELECT 1 FROM run WHERE id = ? AND wall_s = ? AND mono_s = ?"
        found = self.db.execute(where, (self._run, self._spec.wall_s, self._spec.mono_s))
        return found.fetchone() is not None and self._knows_session()

    def _knows_session(self) -> bool:
        """Somebody may have removed it by hand: what follows would belong to nothing."""
        if self._session is None:
            return True
        where = "SELECT 1 FROM session WHERE id = ?"
        return self.db.execute(where, (self._session,)).fetchone() is not None

    @property
    def session(self) -> int | None:
        """The one that rows belong to now."""
        return self._session

    @property
    @broken_by_damage()
    def goes_on(self) -> int | None:
        """The one under way; left, or after a restart, the one that may go on."""
        where = "SELECT session FROM run WHERE id = ?"
        found = self.db.execute(where, (self._run,)).fetchone()
        return None if found is None else found[0]

    @broken_by_damage()
    def write(self, records: Iterable[Record], *, flush: bool = False) -> None:
        """All of these, in order; ``flush``: spans that are not complete as well. After an error
        nothing of it has happened, here or on disk."""
        before = (self._run, self._spec, self._settings, self._session, self._closed)
        folding = self._folding
        self._folding = self._folding.copy()
        try:
            with self.db:
                self.db.execute("BEGIN IMMEDIATE")
                for record in records:
                    self._take(record)
                if flush and self._session is not None:
                    self._put_rows(self._folding.flush())
        except BaseException:
            self._run, self._spec, self._settings, self._session, self._closed = before
            self._folding = folding
            raise

    def _take(self, record: Record) -> None:
        match record:
            case Window():
                if self._session is not None:
                    self._put_rows(self._folding.take(record))
            case Event():
                self._put_event(record)
            case Progress():
                self._put_progress(record)
            case Temperature():
                self._put_temperature(record)
            case Counted():
                where = "UPDATE run SET counted = ? WHERE id = ?"
                self.db.execute(where, (record.text, self._run))
            case Closing():
                self._begin_session(record)
            case SessionLeft():
                self._leave_session()
            case SessionEnd():
                self._end_session(record)
            case UnseenEnd():
                self._put_unseen_end(record)
            case SettingsInForce():
                self._settings = self._put_settings(record.settings)
            case Run():
                self._begin_run(record)

    # --- what rows belong to

    def _begin_run(self, run: Run) -> None:
        self._spec, self._session, self._closed = run, None, None
        self._folding = Folding()
        self._settings = self._put_settings(run.settings)
        self._run = self.db.execute(
            "INSERT INTO run (mono_s, wall_s, version, bank, is_simulated, settings, session)"
            " VALUES (?, ?, ?, ?, ?, ?, (SELECT session FROM run"
            " WHERE bank = ? AND is_simulated = ? ORDER BY id DESC LIMIT 1))",
            (run.mono_s, run.wall_s, run.version, run.bank, run.is_simulated, self._settings,
             run.bank, run.is_simulated),
        ).lastrowid  # fmt: skip

    def _put_settings(self, text: str) -> str:
        digest = sha256(text.encode()).hexdigest()
        self.db.execute("INSERT OR IGNORE INTO settings VALUES (?, ?)", (digest, text))
        return digest

    def _begin_session(self, closing: Closing) -> None:
        before, goes_on = self._session, None
        if not closing.is_new:
            goes_on = last_of(self.db, self._kind(closing))
        if self._session != goes_on:
            self._leave_session()
        self._session = self._insert_session(closing) if goes_on is None else goes_on
        self.db.execute("UPDATE run SET session = ? WHERE id = ?", (self._session, self._run))
        self._adopt_events()
        if goes_on is not None and before != goes_on:
            text = f"session {goes_on} goes on, profile {closing.profile}"
            self._note(closing, SESSION_GOES_ON, text, profile=closing.profile)
        elif goes_on is None and not closing.is_new:
            text = (
                "the session that was to go on has ended, was removed, or is not in this journal: "
                "this one begins anew, and its charge counts on from what is remembered"
            )
            self._note(closing, SESSION_BEGUN_ANEW, text)

    def _kind(self, closing: Closing) -> Kind:
        assert self._spec is not None
        return Kind(self._spec.bank, closing.cells, self._spec.is_simulated)

    def _insert_session(self, closing: Closing) -> int | None:
        kind = self._kind(closing)
        return self.db.execute(
            "INSERT INTO session"
            " (run, mono_s, wall_s, bank, cells, profile, is_simulated, settings)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (self._run, closing.mono_s, closing.wall_s, kind.bank, kind.cells, closing.profile,
             kind.is_simulated, self._settings),
        ).lastrowid  # fmt: skip

    def _adopt_events(self) -> None:
        """What was noted since it closed, before it was known which session that is: a trip too.
        The journal's own notes have no monotonic time, and stay where they are."""
        self.db.execute(
            "UPDATE event SET session = ? WHERE run = ? AND id >= ?"
            " AND mono_s >= (SELECT mono_s FROM event WHERE id = ?)",
            (self._session, self._run, self._closed, self._closed),
        )
        self._closed = None

    def _leave_session(self) -> None:
        """What follows is not of it; nothing that was gathered gets into another one."""
        if self._session is not None:
            self._put_rows(self._folding.flush())
        self._session, self._folding = None, Folding()

    def _end_session(self, end: SessionEnd) -> None:
        """Of the one under way, or after a restart of the one that could have gone on."""
        ended = self.goes_on if self._session is None else self._session
        self._leave_session()
        self.db.execute("UPDATE session SET ended_wall_s = ? WHERE id = ?", (end.wall_s, ended))
        self.db.execute("UPDATE run SET session = NULL WHERE id = ?", (self._run,))

    # --- rows

    def _put_rows(self, rows: Iterable[Row]) -> None:
        self.db.executemany(
            f"INSERT OR REPLACE INTO sample VALUES ({', '.join('?' * 16)})",
            (
                (self._session, row.span_ms, self._run, row.mono_ms, row.wall_ms,
                 *row.front_v, *row.far_v, *row.current_a, row.good, row.windows)
                for row in rows
            ),
        )  # fmt: skip

    def _put_event(self, event: Event) -> None:
        session = self._session
        if session is None and event.code not in OF_NO_SESSION:
            session = self.goes_on
        if event.is_close and self._session is not None:
            self._put_rows(self._folding.near_event(event.mono_s))
        number = self._insert_event(session, self._run, event)
        if event.code in CLOSES:
            self._closed = number

    def _insert_event(self, session: int | None, run: int | None, event: Event) -> int | None:
        return self.db.execute(
            "INSERT INTO event (session, run, mono_s, wall_s, code, text, data)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            (session, run, event.mono_s, event.wall_s, event.code, _plain(event.text),
             json.dumps({k: _plain(v) for k, v in event.data.items()})),
        ).lastrowid  # fmt: skip

    def _note(self, closing: Closing, code: str, text: str, **data: Value) -> None:
        event = Event(closing.mono_s, closing.wall_s, code, text, data, is_close=False)
        self._insert_event(self._session, self._run, event)

    def _put_unseen_end(self, found: UnseenEnd) -> None:
        """Of the session that was under way, at the last that was heard of it; once only."""
        session = under_way_before(self.db, self._run)
        run = newest_run_closed(self.db, session)
        if session is None or run is None or run == self._run:
            return
        known = "SELECT 1 FROM event WHERE code = ? AND session = ? AND run = ?"
        if self.db.execute(known, (UNSEEN_END, session, run)).fetchone():
            return
        sign = last_sign(self.db, session, run)
        data: dict[str, Value] = {
            "was_closed": True,
            "remedy": found.remedy,
            "found_wall_s": found.wall_s,
        }
        event = Event(*sign, UNSEEN_END, found.text, data, is_close=False)
        self._insert_event(session, run, event)

    def _put_progress(self, record: Progress) -> None:
        if self._session is None:
            return
        mono_s, wall_s, *values = record
        self.db.execute(
            f"INSERT OR REPLACE INTO progress VALUES ({', '.join('?' * 13)})",
            (self._session, self._run, round(mono_s * MS), round(wall_s * MS), *values),
        )

    def _put_temperature(self, record: Temperature) -> None:
        if self._session is None:
            return
        self.db.execute(
            "INSERT OR REPLACE INTO temperature VALUES (?, ?, ?, ?, ?, ?)",
            (self._session, self._run, round(record.mono_s * MS), round(record.wall_s * MS),
             record.probe, record.celsius),
        )  # fmt: skip


def _plain(value: Value) -> Value:
    """Text that no file takes (half a character, by a request) with a mark in its place."""
    return value.encode("utf-8", "replace").decode() if isinstance(value, str) else value
