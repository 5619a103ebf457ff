"""The journal stays below its size; trips are given up last, and never without a word."""

from pathlib import Path

from journals import closing, codes, end, event, run, windows, written

from supervisor.journal.pruning import prune, remove, size_bytes
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
