"""The journal's thread: takes what the loop tells, and never holds the loop up.

The loop puts records into a bounded queue and goes on. When the disk cannot keep up, samples are
dropped first, then cues and the like, trips last, and the loss is written down. A disk that fails
is tried again; the loop never knows. A trip does not wait for the next try. A disk that is nearly
full is left to the lockout.
"""

import logging
import os
import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from itertools import chain, count
from pathlib import Path

from supervisor.journal.codes import REMARKS, TURNS, URGENT
from supervisor.journal.going_on import counted_before
from supervisor.journal.health import Health
from supervisor.journal.opening import Broken
from supervisor.journal.pruning import prune, size_bytes
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
    Window,
)
from supervisor.journal.schema import FILE_NAME
from supervisor.journal.store import Store

log = logging.getLogger(__name__)
# So many may wait, and another one is put behind them: samples of five minutes, cues and the like,
# other events, what frames a session and turns it, trips.
MOST_SAMPLES, MOST_REMARKS, MOST_EVENTS, MOST_TURNS, MOST_TRIPS = 3000, 4000, 5000, 7000, 8000
COMMIT_EVERY_S = 30.0
AGAIN_AFTER_S, AGAIN_AT_MOST_S = 1.0, 60.0
URGENT_AGAIN_AFTER_S = 1.0  # however many trips there are
LAST_WORDS_S, LAST_WORDS_AGAIN_S = 5.0, 0.1
NICE = 10
ROOM_BYTES = 4_000_000  # of the disk, left to the lockout file beside it
SAMPLES = (Window, Progress, Temperature, Counted)
FRAME = (Run, SettingsInForce, Closing, SessionEnd, SessionLeft)
NO_FAULT_OF_A_RECORD = (sqlite3.OperationalError, OSError, Broken, MemoryError)
PARTS = ("-wal", "-shm", "")  # a new file must not find the changes of the old one beside it


class Writer:
    """``put`` never blocks and never raises."""

    def __init__(self, folder: Path, most_bytes: int, wall_s: Callable[[], float]) -> None:
        self._path = folder / FILE_NAME
        self._most_bytes = most_bytes
        self._wall_s = wall_s
        self._waiting: deque[Record] = deque()
        self._wake = threading.Event()
        self._is_urgent = False
        self._ends, self._ends_at_s = False, 0.0
        self._told_lost = (0, 0)
        self._store = Store(self._path)
        self._first: list[Record] = []  # what a fresh file must be told: run, then closing
        self._why_fresh: list[Record] = []
        self._too_large = ""  # why, as it was told last
        self.health = Health(most_bytes=most_bytes)
        self._thread = threading.Thread(target=self._live, name="journal", daemon=True)
        self._thread.start()

    # --- called by the loop

    def put(self, record: Record) -> None:
        is_sample, is_urgent = isinstance(record, SAMPLES), _is_urgent(record)
        if len(self._waiting) >= _most_before(record):
            if is_sample:
                self.health.dropped_samples += 1
            else:
                self.health.dropped_events += 1
            return
        self._waiting.append(record)
        self._is_urgent |= is_urgent
        if not is_sample:
            self._wake.set()

    def counted(self) -> str:
        return counted_before(self._path)

    def close(self) -> None:
        """Write what waits, but do not wait for ever: a disk may hang."""
        self._ends_at_s, self._ends = time.monotonic() + LAST_WORDS_S, True
        self._wake.set()
        self._thread.join(LAST_WORDS_S)

    # --- the thread

    def _live(self) -> None:
        _give_way()
        again_s = AGAIN_AFTER_S
        while True:
            ends, self._is_urgent = self._ends, False
            try:
                self._write_waiting(flush=ends)
                again_s, self.health.trouble = AGAIN_AFTER_S, ""
            except NO_FAULT_OF_A_RECORD as error:
                self._failed(error)
                again_s = min(2 * again_s, AGAIN_AT_MOST_S)
            except Exception as error:  # a record that no file takes: the others are kept
                log.exception("a record could not be written")
                self._drop_bad(error)
            self.health.cpu_s = time.thread_time()
            if ends and (not self.health.trouble or time.monotonic() > self._ends_at_s):
                break
            if self._wait(again_s):
                again_s = AGAIN_AFTER_S
        self._store.disconnect()

    def _wait(self, again_s: float) -> bool:
        """Until something asks to be written at once; after a failure, until it is worth a try.
        Whether a trip cut that short."""
        if not self.health.trouble:
            self._wake.wait(COMMIT_EVERY_S)
            self._wake.clear()
            return False
        failed_at_s = time.monotonic()
        while (left_s := failed_at_s + self._pause_s(again_s) - time.monotonic()) > 0:
            self._wake.wait(left_s)
            self._wake.clear()
        return self._is_urgent

    def _pause_s(self, again_s: float) -> float:
        if self._ends:
            return LAST_WORDS_AGAIN_S
        return min(again_s, URGENT_AGAIN_AFTER_S) if self._is_urgent else again_s

    def _write_waiting(self, *, flush: bool) -> None:
        batch = list(self._waiting)
        self.health.depth = len(batch)
        dropped = (self.health.dropped_samples, self.health.dropped_events)
        told = [*batch, *self._lost(*dropped)]  # the run first, if it waits as well
        try:
            self._write(told, flush=flush)
            self._prune()
        except Broken as broken:
            self._set_aside(broken)
            self._write(told, flush=flush)
        for _ in batch:
            self._remember(self._waiting.popleft())
        self._told_lost = dropped
        self.health.written += len(batch)
        self.health.depth = len(self._waiting)
        self.health.session = self._store.session

    def _prune(self) -> None:
        """What cannot be given up now may be later: all that waited has been written. Raises
        Broken."""
        too_large = ""
        try:
            prune(self._store.db, self._most_bytes, keep=self._store.goes_on, room=self._leave_room)
            self.health.size_bytes = size_bytes(self._store.db)
        except (sqlite3.Error, OSError) as error:
            too_large = str(error)
        if too_large and too_large != self._too_large:
            log.warning("the journal is larger than it should be: %s", too_large)
        self._too_large = too_large

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
        self.health.disk_free_bytes = disk.f_bavail * disk.f_frsize
        if self.health.disk_free_bytes < ROOM_BYTES:
            room = f"{ROOM_BYTES / 1e6:.0f} MB"
            raise OSError(f"the disk is full: its last {room} are left to the lockout file")

    def _drop_bad(self, error: Exception) -> None:
        """Of the records that wait, those that cannot be written by themselves."""
        self._failed(error)
        for _ in range(len(self._waiting)):
            record = self._waiting[0]
            try:
                self._write([record], flush=False)
            except NO_FAULT_OF_A_RECORD:
                return
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
        kept = self._name_aside()
        for ending in PARTS:
            part = Path(f"{self._path}{ending}")
            if part.exists():
                part.rename(f"{kept}{ending}")
        text = f"the journal could not be used ({broken}); it is kept as {kept}, a new one begins"
        log.warning("%s", text)
        data = {"kept_as": str(kept)}
        self._why_fresh = [Event(0.0, self._wall_s(), "journal_set_aside", text, data, False)]

    def _name_aside(self) -> Path:
        """One that nothing has; clocks may be set back, and files break twice a second."""
        stamp = time.strftime("%Y%m%d-%H%M%S", time.gmtime(self._wall_s()))
        numbers = chain([""], (f"-{k}" for k in count(2)))
        paths = (self._path.with_suffix(f".broken-{stamp}{number}") for number in numbers)
        return next(p for p in paths if not any(Path(f"{p}{e}").exists() for e in PARTS))

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


def _is_urgent(record: Record) -> bool:
    return isinstance(record, UnseenEnd) or _is_of(record, URGENT)


def _is_of(record: Record, codes: frozenset[str]) -> bool:
    return isinstance(record, Event) and record.code in codes


def _most_before(record: Record) -> int:
    """How many may wait, and this one is put behind them all the same."""
    if isinstance(record, SAMPLES):
        return MOST_SAMPLES
    if _is_urgent(record):
        return MOST_TRIPS
    if isinstance(record, FRAME) or _is_of(record, TURNS):
        return MOST_TURNS
    return MOST_REMARKS if _is_of(record, REMARKS) else MOST_EVENTS


def _give_way() -> None:
    """The loop may run by a real-time policy, and this thread with it: it is in no such hurry."""
    with suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
    with suppress(OSError):
        os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), NICE)


def _is_locked(error: Exception) -> bool:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
