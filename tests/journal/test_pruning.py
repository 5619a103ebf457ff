"""The journal stays below its size; trips are given up last, and never without a word."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from journals import closing, codes, end, event, run, unseen_end, windows, written

from supervisor.journal import opening
from supervisor.journal import pruning as module
from supervisor.journal.pruning import Held, prune, remove, size_bytes, thin
from supervisor.journal.reader import Reader
from supervisor.journal.schema import MINUTE_MS, SECOND_MS
from supervisor.journal.store import Store

HOUR_S = 3600.0


def journal(folder: Path, tripped: set[int], count: int = 4) -> Path:
    """Sessions of half an hour each, some with a trip in the end."""
    records = []
    for k in range(count):
        at_s = k * HOUR_S
        last = [event(at_s + 1800)] if k + 1 in tripped else []
        records += [closing(at_s), *windows(at_s, at_s + 1800), *last, end(at_s + 3000)]
    return written(folder, run(), *records)


def pruned(path: Path, most_bytes: int) -> Store:
    store = Store(path)
    store.connect()
    prune(store.db, most_bytes, keep=None)
    return store


def test_below_its_size_nothing_is_touched(tmp_path: Path) -> None:
    path = journal(tmp_path, {1})
    store = pruned(path, 1 << 30)
    store.disconnect()
    assert codes(path) == ["trip"]


def test_first_the_seconds_of_the_oldest_go(tmp_path: Path) -> None:
    path = journal(tmp_path, {1})
    store = pruned(path, path.stat().st_size - 8192)
    store.disconnect()
    with Reader(path) as reader:
        assert [s.is_thinned for s in reader.sessions()] == [True, False, False, False]
        assert list(reader.samples(1, SECOND_MS)) == []
        assert len(list(reader.samples(1, MINUTE_MS))) == 31
        assert len(list(reader.samples(2, SECOND_MS))) == 1801
    assert codes(path)[-1] == "session_thinned"


def test_then_sessions_without_a_trip_then_those_with_one_and_never_the_newest(
    tmp_path: Path,
) -> None:
    path = journal(tmp_path, {1, 3})
    gone = []
    store = Store(path)
    store.connect()
    for most_bytes in range(size_bytes(store.db), 0, -4096):
        prune(store.db, most_bytes, keep=None)
        left = {row[0] for row in store.db.execute("SELECT id FROM session")}
        gone += sorted({1, 2, 3, 4} - left - set(gone))
    store.disconnect()
    assert gone == [2, 1, 3]
    with Reader(path) as reader:
        removed = [e for e in reader.events() if e.code == "session_removed"]
        assert [", with a trip," in e.text for e in removed] == [False, True, True]
        assert len(list(reader.samples(4, SECOND_MS))) == 1801


def test_the_file_itself_shrinks(tmp_path: Path) -> None:
    path = journal(tmp_path, set())
    before = path.stat().st_size
    pruned(path, before // 2).disconnect()
    assert path.stat().st_size < before / 1.9


def test_a_number_is_never_given_twice(tmp_path: Path) -> None:
    path = journal(tmp_path, set(), count=2)
    store = Store(path)
    store.connect()
    remove(store.db, 2, "a test")
    store.write([run(9e4), closing(9e4)])
    store.disconnect()
    with Reader(path) as reader:
        assert [s.id for s in reader.sessions()] == [1, 3]


def test_what_waits_in_the_auxiliary_file_counts(tmp_path: Path) -> None:
    """A reader keeps it from being emptied: then it grows, however little is in use."""
    path = journal(tmp_path, set())
    store = Store(path)
    store.connect()
    with reads_for_long(path):
        before = size_bytes(store.db)
        for k in range(20):
            store.write([run(1e5 + k)])
        assert size_bytes(store.db) - before >= 20 * 4096
        assert size_bytes(store.db) >= sum(part.stat().st_size for part in tmp_path.iterdir()
                                           if not part.name.endswith("-shm"))  # fmt: skip
    store.disconnect()


@contextmanager
def reads_for_long(path: Path) -> Iterator[None]:
    """In a transaction that was begun before what follows is written."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("BEGIN")
    db.execute("SELECT * FROM session").fetchone()
    try:
        yield
    finally:
        db.close()


def test_while_somebody_reads_for_long_no_session_is_given_up(tmp_path: Path) -> None:
    """That would make the files larger, and the next one would go for it, and the next."""
    path = journal(tmp_path, set())
    store = Store(path)
    store.connect()
    store.db.execute("PRAGMA busy_timeout = 0")
    with reads_for_long(path):
        store.write([run(1e5), event(1e5)])
        with pytest.raises(Held):
            prune(store.db, 1, keep=None)
        assert codes(path) == ["trip"]
    prune(store.db, 1, keep=None)
    store.disconnect()
    assert codes(path)[-1] == "session_removed"


def test_emptying_the_auxiliary_file_may_be_enough(tmp_path: Path) -> None:
    path = journal(tmp_path, set())
    store = Store(path)
    store.connect()
    store.write([run(1e5), event(1e5)])
    store.db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    in_use = size_bytes(store.db)
    store.write([event(1e5 + 1)])
    assert size_bytes(store.db) > in_use
    prune(store.db, in_use, keep=None)
    store.disconnect()
    assert codes(path) == ["trip", "trip"]


def test_the_auxiliary_file_does_not_stay_as_large_as_it_once_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "WAL_BYTES", 100_000)
    path = written(tmp_path, run())
    store = Store(path)
    store.connect()
    store.write([run(1.0), closing(1.0)])
    with reads_for_long(path):
        store.write(windows(1.0, 4000.0))
        store.write([event(4000.0)])
    wal = path.with_name(f"{path.name}-wal")
    largest = wal.stat().st_size
    for k in range(3):  # it begins anew with a write after all of it was taken over
        store.write([event(4001.0 + k)])
        store.db.execute("PRAGMA wal_checkpoint").fetchall()
    assert wal.stat().st_size <= opening.WAL_BYTES < largest
    store.disconnect()


class Traced:
    """Rows deleted in each transaction, and the size of the auxiliary file after it."""

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        self._wal = path.with_name(f"{path.name}-wal")
        self._db = db
        self._begun_at = 0
        self.rows: list[int] = []
        self.wal_bytes: list[int] = []
        db.set_trace_callback(self._note)

    def _note(self, sql: str) -> None:
        if sql.startswith("BEGIN"):
            self._begun_at = self._db.total_changes
        elif sql.startswith("COMMIT"):
            self.rows.append(self._db.total_changes - self._begun_at)
        elif "wal_checkpoint" in sql:
            self.wal_bytes.append(self._wal.stat().st_size)


@pytest.mark.parametrize("give_up", [thin, lambda db, session: remove(db, session, "a test")])
def test_giving_up_goes_in_small_steps(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, give_up: Callable[..., None]
) -> None:
    """So a trip never waits for long, and on a full disk there is room for each."""
    monkeypatch.setattr(module, "ROWS_AT_ONCE", 200)
    path = journal(tmp_path, set())
    store = Store(path)
    store.connect()
    traced = Traced(path, store.db)
    give_up(store.db, 1)
    store.db.set_trace_callback(None)
    store.disconnect()
    assert len(traced.rows) >= 1801 / 200
    assert max(traced.rows) <= 200 + 3, "and the notes of it"
    assert max(traced.wal_bytes) < 200 * 4096
    with Reader(path) as reader:
        assert list(reader.samples(1, SECOND_MS)) == []
        assert len(list(reader.samples(2, SECOND_MS))) == 1801


def test_killed_between_two_steps_it_goes_on_where_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "ROWS_AT_ONCE", 200)
    path = journal(tmp_path, set())
    store = Store(path)
    store.connect()

    def killed(*_arguments: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(module, "_delete", killed)
        with pytest.raises(KeyboardInterrupt):
            remove(store.db, 1, "a test")
    with Reader(path) as reader:
        assert [s.id for s in reader.sessions()] == [1, 2, 3, 4], "as long as it is not all gone"
    remove(store.db, 1, "a test")
    store.disconnect()
    with Reader(path) as reader:
        assert [s.id for s in reader.sessions()] == [2, 3, 4]
    assert codes(path).count("session_removed") == 1


def test_an_end_that_nobody_saw_is_kept_as_long_as_a_trip(tmp_path: Path) -> None:
    path = written(
        tmp_path, run(), closing(0.0), *windows(0.0, 900.0),
        run(1000.0), unseen_end(1000.0), closing(1010.0, is_new=False), end(9000.0),
        closing(9001.0), *windows(9001.0, 9900.0), end(18000.0), closing(18001.0),
    )  # fmt: skip
    store = Store(path)
    store.connect()
    most_bytes = size_bytes(store.db)
    while "session_removed" not in codes(path):
        most_bytes -= 4096
        prune(store.db, most_bytes, keep=None)
    store.disconnect()
    with Reader(path) as reader:
        removed = [e.data["session"] for e in reader.events() if e.code == "session_removed"]
    assert removed[0] == 2
