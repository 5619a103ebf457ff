"""Reading holds nobody up, and says in words what is wrong with the file."""

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from random import Random
from typing import Any

import pytest
from journals import closing, event, run, windows, written

from supervisor.journal import reader as module
from supervisor.journal import reading
from supervisor.journal.reader import NoJournal, Reader, Unreadable
from supervisor.journal.schema import FILE_NAME, MINUTE_MS, SECOND_MS
from supervisor.journal.store import Store

PAGE_BYTES = 4096
QUERIES: dict[str, Callable[[Reader], Any]] = {
    "sessions": lambda reader: reader.sessions(),
    "session": lambda reader: reader.session(1),
    "samples": lambda reader: list(reader.samples(1, SECOND_MS)),
    "newest samples": lambda reader: reader.newest_samples(1, SECOND_MS, 60.0),
    "events": lambda reader: reader.events(),
    "events of one": lambda reader: reader.events(1),
    "progress": lambda reader: reader.progress(1),
    "temperatures": lambda reader: reader.temperatures(1),
    "damage": lambda reader: reader.damage(),
}


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("original")
    return written(folder, run(), closing(0.0), *windows(0.0, 3000.0), event(3000.0))


@pytest.fixture
def path(original: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(original, tmp_path / FILE_NAME))


def checkpoint_is_whole(path: Path) -> bool:
    """Whether all changes could be taken over, and the auxiliary file emptied."""
    store = Store(path)
    store.connect()
    store.db.execute("PRAGMA busy_timeout = 0")
    store.write([run(1e5), event(1e5)])
    is_busy = store.db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    store.disconnect()
    return not is_busy


@pytest.mark.parametrize("query", QUERIES)
def test_no_look_is_left_open(path: Path, query: str) -> None:
    with Reader(path) as reader:
        QUERIES[query](reader)
        assert checkpoint_is_whole(path)


def test_an_iterator_that_is_left_half_way_is_no_open_look(path: Path) -> None:
    with Reader(path) as reader:
        samples = reader.samples(1, SECOND_MS)
        next(samples)
        assert checkpoint_is_whole(path)
        assert len(list(samples)) == 3000


@pytest.mark.parametrize("rows", [1, 7, 50, 51, 3001])
def test_samples_in_pieces_are_the_same(
    path: Path, monkeypatch: pytest.MonkeyPatch, rows: int
) -> None:
    written(path.parent, run(1.0), closing(2.0, is_new=False), *windows(2.0, 100.0))
    with Reader(path) as reader:
        whole = {span: list(reader.samples(1, span)) for span in (SECOND_MS, MINUTE_MS)}
        assert [s.run for s in whole[SECOND_MS]] == [1] * 3001 + [2] * 99
        monkeypatch.setattr(module, "ROWS_AT_ONCE", rows)
        assert {span: list(reader.samples(1, span)) for span in whole} == whole


# --- damage


def test_a_sound_file_has_no_damage(path: Path) -> None:
    with Reader(path) as reader:
        assert reader.damage() == ""


@pytest.mark.parametrize("seed", range(25))
def test_damage_anywhere_is_found_and_never_ends_in_another_error(path: Path, seed: int) -> None:
    """A page lost, as by a card that wears out: nonsense, or zeros."""
    random = Random(seed)
    pages = path.stat().st_size // PAGE_BYTES
    with path.open("r+b") as file:
        file.seek(random.randrange(1, pages) * PAGE_BYTES)
        file.write(random.choice([random.randbytes(PAGE_BYTES), bytes(PAGE_BYTES)]))
    assert answer(path, QUERIES["damage"]) != "", "it is told when it is asked for"
    for query in QUERIES.values():
        answer(path, query)


def answer(path: Path, query: Callable[[Reader], Any]) -> Any:
    """Or the words instead of it; any other error is one of ours."""
    try:
        with Reader(path) as reader:
            return query(reader)
    except NoJournal as said:
        return said


def test_locked_by_another_it_says_so(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And does not read beside it what may be changed at any moment."""
    monkeypatch.setattr(reading, "WAIT_S", 0.0)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA locking_mode = EXCLUSIVE")
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(Unreadable, match="locked") as said:
        Reader(path)
    assert "try again" in said.value.remedy
    other.close()


# --- where nobody may write


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """By the folder's rights; root has all of them, so for root by a mount."""
    if os.geteuid() != 0:
        folder.chmod(0o555)
        yield
        folder.chmod(0o755)
        return
    bind = ["mount", "--bind", str(folder), str(folder)]
    if shutil.which("mount") is None or subprocess.run(bind, check=False).returncode:
        pytest.skip("nothing can be mounted here")
    subprocess.run(["mount", "-o", "remount,ro,bind", str(folder)], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


def test_a_copy_where_nobody_may_write_is_read_as_it_is(path: Path, tmp_path: Path) -> None:
    folder = tmp_path / "copy"
    folder.mkdir()
    copy = folder / FILE_NAME
    shutil.copy(path, copy)
    with Reader(path) as reader:
        whole = [QUERIES[query](reader) for query in QUERIES]
    with read_only(folder), Reader(copy) as reader:
        assert [QUERIES[query](reader) for query in QUERIES] == whole
        assert [part.name for part in folder.iterdir()] == [FILE_NAME]


def test_a_copy_whose_newest_changes_lie_beside_it_is_not_read_without_them(
    path: Path, tmp_path: Path
) -> None:
    """It would look whole, and the trip would be missing."""
    folder = tmp_path / "copy"
    folder.mkdir()
    store = Store(path)
    store.connect()
    store.write([run(1e5), event(1e5, "the newest")])
    for ending in ("", "-wal"):
        shutil.copy(f"{path}{ending}", folder / f"{FILE_NAME}{ending}")
    store.disconnect()
    newest: list[str] = []
    with read_only(folder), suppress(Unreadable), Reader(folder / FILE_NAME) as reader:
        newest.append(reader.events()[-1].code)
    assert newest in ([], ["the newest"])
