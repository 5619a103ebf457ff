"""The journal's thread: takes what the loop tells, and never holds the loop up.

The loop puts records into a bounded queue and goes on. When the disk cannot keep up, samples are
dropped first, then events, and the loss is written down. A disk that fails is tried again; the
loop never knows. One that is nearly full is left to the lockout.
"""

import logging
import os
import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from supervisor.journal.health import Health
from supervisor.journal.pruning import prune
from supervisor.journal.records import (
    Closing,
    Event,
    Progress,
    Record,
    Run,
    SessionEnd,
    SessionLeft,
    SettingsInForce,
    Temperature,
    Window,
)
from supervisor.journal.schema import FILE_NAME
from supervisor.journal.store import Broken, Store

log = logging.getLogger(__name__)
MOST_SAMPLES, MOST_RECORDS = 3000, 4000  # waiting: five minutes, and room for events beyond
COMMIT_EVERY_S = 30.0
AGAIN_AFTER_S, AGAIN_AT_MOST_S = 1.0, 60.0
LAST_WORDS_S = 5.0
NICE = 10
ROOM_BYTES = 4_000_000  # of the disk, left to the lockout file beside it
SAMPLES = (Window, Progress, Temperature)


class Writer:
    """``put`` never blocks and never raises."""

    def __init__(self, folder: Path, most_bytes: int, wall_s: Callable[[], float]) -> None:
        self._path = folder / FILE_NAME
        self._most_bytes = most_bytes
        self._wall_s = wall_s
        self._waiting: deque[Record] = deque()
        self._wake = threading.Event()
        self._ends = False
        self._told_lost = (0, 0)
        self._store = Store(self._path)
        self._first: list[Record] = []  # what a fresh file must be told: run, then closing
        self._why_fresh: list[Record] = []
        self.health = Health()
        self._thread = threading.Thread(target=self._live, name="journal", daemon=True)
        self._thread.start()

    # --- called by the loop

    def put(self, record: Record) -> None:
        is_sample = isinstance(record, SAMPLES)
        if len(self._waiting) >= (MOST_SAMPLES if is_sample else MOST_RECORDS):
            if is_sample:
                self.health.dropped_samples += 1
            else:
                self.health.dropped_events += 1
            return
        self._waiting.append(record)
        if not is_sample:
            self._wake.set()

    def close(self) -> None:
        """Write what waits, but do not wait for ever: a disk may hang."""
        self._ends = True
        self._wake.set()
        self._thread.join(LAST_WORDS_S)

    # --- the thread

    def _live(self) -> None:
        _give_way()
        again_s = AGAIN_AFTER_S
        while True:
            ends = self._ends
            try:
                self._write_waiting(flush=ends)
                again_s, self.health.trouble = AGAIN_AFTER_S, ""
            except (sqlite3.OperationalError, OSError) as error:
                self._failed(error)
                again_s = min(2 * again_s, AGAIN_AT_MOST_S)
            except Exception as error:  # a record that no file takes: the others are kept
                log.exception("a record could not be written")
                self._drop_bad(error)
            self.health.cpu_s = time.thread_time()
            if ends:
                break
            self._wait(again_s)
        self._store.disconnect()

    def _wait(self, again_s: float) -> None:
        """Until something asks to be written at once; after a failure, until it is worth a try."""
        if self.health.trouble:
            until_s = time.monotonic() + again_s
            while not self._ends and time.monotonic() < until_s:
                self._wake.wait(until_s - time.monotonic())
                self._wake.clear()
        else:
            self._wake.wait(COMMIT_EVERY_S)
            self._wake.clear()

    def _write_waiting(self, *, flush: bool) -> None:
        batch = list(self._waiting)
        self.health.depth = len(batch)
        dropped = (self.health.dropped_samples, self.health.dropped_events)
        told = [*batch, *self._lost(*dropped)]  # the run first, if it waits as well
        try:
            self._write(told, flush=flush)
        except Broken as broken:
            self._set_aside(broken)
            self._write(told, flush=flush)
        for _ in batch:
            self._remember(self._waiting.popleft())
        self._told_lost = dropped
        self.health.written += len(batch)
        self.health.depth = len(self._waiting)
        self.health.session = self._store.session
        self._prune()

    def _prune(self) -> None:
        """What cannot be given up now may be later: all that waited has been written."""
        try:
            prune(self._store.db, self._most_bytes, keep=self._store.session, room=self._leave_room)
        except (sqlite3.OperationalError, OSError) as error:
            log.warning("the journal is larger than it should be: %s", error)

    def _write(self, records: list[Record], *, flush: bool) -> None:
        fresh = [] if self._store.connect() else self._first
        told = [*fresh, *records]
        if told:
            at = len(fresh) or 1  # after the run, which every file begins with
            told[at:at] = self._why_fresh
        if told or flush:
            self._leave_room()
            self._store.write(told, flush=flush)
        if told:
            self._why_fresh.clear()

    def _leave_room(self) -> None:
        disk = os.statvfs(self._path.parent)
        if disk.f_bavail * disk.f_frsize < ROOM_BYTES:
            room = f"{ROOM_BYTES / 1e6:.0f} MB"
            raise OSError(f"the disk is full: its last {room} are left to the lockout file")

    def _drop_bad(self, error: Exception) -> None:
        """Of the records that wait, those that cannot be written by themselves."""
        self._failed(error)
        for _ in range(len(self._waiting)):
            record = self._waiting[0]
            try:
                self._write([record], flush=False)
            except (sqlite3.OperationalError, OSError, Broken):
                return  # no fault of the record
            except Exception:
                self.health.dropped_events += 1
            else:
                self._remember(record)
                self.health.written += 1
            self._waiting.popleft()

    def _remember(self, record: Record) -> None:
        """What a fresh file has to be told first."""
        match record:
            case Run():
                self._first = [record]
            case Closing():
                self._first = [r for r in self._first if not isinstance(r, Closing)]
                self._first.append(record._replace(is_new=True))
            case SessionEnd():
                self._first = [r for r in self._first if not isinstance(r, Closing)]
            case SettingsInForce():  # the circuit is open, and the next closing comes after it
                self._first = [*(r for r in self._first if isinstance(r, Run)), record]
            case SessionLeft():
                self._first = [r for r in self._first if not isinstance(r, Closing)]

    def _set_aside(self, broken: Broken) -> None:
        """Keep the broken file for whoever can read it; the next one is fresh."""
        self._store.disconnect()
        stamp = time.strftime("%Y%m%d-%H%M%S", time.gmtime(self._wall_s()))
        kept = self._path.with_suffix(f".broken-{stamp}")
        for ending in ("", "-wal", "-shm"):
            part = Path(f"{self._path}{ending}")
            if part.exists():
                part.rename(f"{kept}{ending}")
        text = f"the journal could not be used ({broken}); it is kept as {kept}, a new one begins"
        log.warning("%s", text)
        data = {"kept_as": str(kept)}
        self._why_fresh = [Event(0.0, self._wall_s(), "journal_set_aside", text, data, False)]

    def _lost(self, dropped_samples: int, dropped_events: int) -> list[Record]:
        """An event that says what was dropped since the last one that says so."""
        samples = dropped_samples - self._told_lost[0]
        events = dropped_events - self._told_lost[1]
        if not samples and not events:
            return []
        text = f"the disk was too slow: {samples} samples and {events} events were not kept"
        data = {"samples": samples, "events": events}
        return [Event(0.0, self._wall_s(), "journal_lost", text, data, False)]

    def _failed(self, error: Exception) -> None:
        trouble = f"{self._path}: {error}"
        if trouble != self.health.trouble:
            log.warning("the journal is not written, and tried again: %s", trouble)
        self.health.trouble = trouble
        if not _is_locked(error):  # else the file is as good as before
            self._store.disconnect()


def _give_way() -> None:
    """The loop may run by a real-time policy, and this thread with it: it is in no such hurry."""
    with suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
    with suppress(OSError):
        os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), NICE)


def _is_locked(error: Exception) -> bool:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
