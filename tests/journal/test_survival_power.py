"""The power goes at any moment: what a write returned for is there, whole, and nothing by halves.

A long stretch of the journal's life is recorded write by write, then cut at random points; see
``power_cut``.
"""

import sqlite3
from collections.abc import Callable, Iterator
from functools import partial
from hashlib import sha256
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

import pytest
from journals import WALL_S, closing, end, event, run, windows
from power_cut import Act, Sync, can_record, cuts, lay_out, recorded

from supervisor.journal import opening as module
from supervisor.journal.pruning import remove, thin
from supervisor.journal.records import Progress, Record, Temperature
from supervisor.journal.schema import FILE_NAME
from supervisor.journal.store import Store

CUTS = 1000
JOURNAL = 0  # the first file made
TABLES = ("settings", "run", "session", "sample", "temperature", "progress", "event")
pytestmark = pytest.mark.skipif(not can_record(), reason="SQLite cannot be watched in this Python")
Step = Callable[[Store], object]


def batch(number: int, mono_s: float) -> list[Record]:
    """Something for every table."""
    at = (mono_s, WALL_S + mono_s)
    known = (None, None, True, 0.1, 3.4, 0.001)
    return [
        *windows(mono_s - 6, mono_s),
        Progress(*at, "closed", "bulk", float(number), *known),
        Temperature(*at, "rectifier", 40.0 + number),
        event(mono_s, "trip" if number % 7 == 0 else "cue", is_close=number % 5 == 0, n=number),
    ]


def life() -> Iterator[Step]:
    """Three sessions over two runs, with restarts, giving up, and more than one checkpoint."""
    yield lambda store: store.connect()
    yield lambda store: store.write([run()])
    for session in range(3):
        begins_s = session * 7200.0
        if session == 2:
            yield partial(Store.write, records=[run(begins_s)])
        yield partial(Store.write, records=[closing(begins_s)])
        for k in range(25):
            yield partial(Store.write, records=batch(k, begins_s + 6 * (k + 1)))
            if k % 10 == 9:
                yield reconnect
        yield partial(Store.write, records=[end(begins_s + 7000)], flush=True)
    yield lambda store: thin(store.db, 1)
    yield partial(Store.write, records=[event(3e4)])
    yield lambda store: remove(store.db, 2, "a test")
    yield partial(Store.write, records=[event(3e4 + 1)])
    yield reconnect


def reconnect(store: Store) -> None:
    store.disconnect()
    assert store.connect()


class Recorded(NamedTuple):
    acts: list[Act]
    states: list[str]  # after each step; the first before any


def recorded_life(folder: Path) -> Recorded:
    states = [""]
    store = Store(folder / FILE_NAME)
    with pytest.MonkeyPatch.context() as patch, recorded(folder) as recording:
        patch.setattr(module, "PAGES_PER_CHECKPOINT", 32)  # many of them
        for step in life():
            step(store)
            recording.acknowledge()
            states.append(content(store.db))
        store.disconnect()
    states[0] = states[1]  # nothing, as after the file was begun
    return Recorded(recording.acts, states)


def content(db: sqlite3.Connection) -> str:
    """Of all tables; the wall clock of what pruning says is not compared."""
    rows: list[Any] = []
    for table in TABLES:
        columns = "id, session, code, text, data" if table == "event" else "*"
        rows += db.execute(f"SELECT {columns} FROM {table}").fetchall()
    return sha256(repr(rows).encode()).hexdigest()


def lost_or_halved(life: Recorded, folder: Path, count: int, seed: int) -> list[str]:
    """What is wrong after so many cuts; each time the journal is opened and goes on."""
    random, wrong = Random(seed), []
    for cut in cuts(life.acts, count, random):
        lay_out(cut.files, folder, random)
        store = Store(folder / FILE_NAME)
        try:
            store.connect()
            found = content(store.db)
            store.write([run(9e5), closing(9e5), event(9e5)])
            sound = store.db.execute("PRAGMA integrity_check").fetchone()[0]
            if sound != "ok":
                wrong.append(sound)
            elif found not in life.states[cut.acknowledged : cut.acknowledged + 2]:
                wrong.append("halved" if found not in life.states else "lost")
        except (module.Broken, sqlite3.Error) as error:
            wrong.append(f"{type(error).__name__}: {error}")
        finally:
            store.disconnect()
    return wrong


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """In memory where there is one: what is synced after a cut is cut no more."""
    memory = Path("/dev/shm")
    with TemporaryDirectory(dir=memory if memory.is_dir() else tmp_path) as name:
        yield Path(name)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Recorded:
    return recorded_life(tmp_path_factory.mktemp("recorded"))


def test_no_cut_loses_or_halves_what_was_written(whole: Recorded, folder: Path) -> None:
    assert len(set(whole.states)) > 80, "each step can be told from the one before"
    assert whole.acts.count(Sync(JOURNAL)) > 30, "checkpoints are a part of it"
    print(f"{CUTS} cuts among {len(whole.acts)} acts")
    assert lost_or_halved(whole, folder, CUTS, seed=1) == []


class NotSynced(sqlite3.Connection):
    """As if the journal did not ask for each commit to be on the medium."""

    def execute(self, sql: str, *parameters: Any) -> sqlite3.Cursor:
        sql = sql.replace("synchronous = FULL", "synchronous = NORMAL")
        return super().execute(sql, *parameters)


def test_the_cuts_would_show_a_journal_that_does_not_sync(
    tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So the test above can fail."""
    with monkeypatch.context() as patch:
        patch.setattr(sqlite3, "connect", partial(sqlite3.connect, factory=NotSynced))
        life = recorded_life(tmp_path)
    assert set(lost_or_halved(life, folder, 150, seed=1)) == {"lost"}
