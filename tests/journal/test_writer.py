"""The journal's thread: nothing blocks the loop, nothing written is lost, every loss is told."""

import os
import sqlite3
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from journals import (
    WALL_S,
    closing,
    codes,
    end,
    event,
    run,
    spoil,
    spoil_pages,
    window,
    windows,
    written,
)

from supervisor.journal import writer as module
from supervisor.journal.closings import last_closed_wall_s
from supervisor.journal.opening import Broken
from supervisor.journal.pruning import prune
from supervisor.journal.reader import Reader
from supervisor.journal.schema import FILE_NAME, SECOND_MS
from supervisor.journal.store import Store
from supervisor.journal.writer import Writer

LARGE = 1 << 30


@pytest.fixture
def write(tmp_path: Path) -> Iterator[Callable[[], Writer]]:
    """Makes a writer; all of them are closed in the end."""
    made: list[Writer] = []

    def make() -> Writer:
        made.append(Writer(tmp_path, LARGE, lambda: WALL_S))
        return made[-1]

    yield make
    for one in made:
        one.close()


def test_all_of_it_is_written_when_it_ends(tmp_path: Path, write: Callable[[], Writer]) -> None:
    writer = write()
    for record in (run(), closing(0.0), *windows(0.0, 100.0), event(100.0)):
        writer.put(record)
    writer.close()
    with Reader(tmp_path / FILE_NAME) as reader:
        assert len(list(reader.samples(1, SECOND_MS))) == 101
    assert codes(tmp_path / FILE_NAME) == ["trip"]
    assert writer.health.written == 1003
    assert (writer.health.depth, writer.health.trouble) == (0, "")


class Gate:
    """Holds the thread before it writes, until it is opened; counts the writes."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.open = threading.Event()
        self.reached = threading.Event()
        self.fails: list[Exception] = []
        write = Store.write

        def gated(store: Store, records: object, **keys: bool) -> None:
            self.reached.set()
            self.open.wait(20)
            if self.fails:
                raise self.fails.pop(0)
            write(store, records, **keys)  # type: ignore[arg-type]

        monkeypatch.setattr(Store, "write", gated)


def test_a_disk_that_hangs_costs_samples_first_and_says_so(
    tmp_path: Path, write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "MOST_SAMPLES", 50)
    monkeypatch.setattr(module, "MOST_REMARKS", 60)
    monkeypatch.setattr(module, "MOST_TRIPS", 70)
    gate = Gate(monkeypatch)
    writer = write()
    writer.put(run())
    writer.put(closing(0.0))
    assert gate.reached.wait(20)
    for one in windows(0.0, 10.0):
        writer.put(one)
    for k in range(20):
        writer.put(event(10.0 + k, "cue"))
    for k in range(20):
        writer.put(event(30.0 + k, "trip"))
    gate.open.set()
    writer.close()
    assert writer.health.dropped_samples == 52
    assert writer.health.dropped_events == 20
    with Reader(tmp_path / FILE_NAME) as reader:
        lost = [e for e in reader.events() if e.code == "journal_lost"]
        assert sum(e.data["samples"] for e in lost) == 52
        assert sum(e.data["events"] for e in lost) == 20
        assert sum(e.code == "cue" for e in reader.events()) == 10
        assert sum(e.code == "trip" for e in reader.events()) == 10, "not without end, either"


@pytest.mark.parametrize(
    "error",
    [
        sqlite3.OperationalError("database or disk is full"),
        sqlite3.OperationalError("attempt to write a readonly database"),
        sqlite3.OperationalError("database is locked"),
        sqlite3.OperationalError("disk I/O error"),
        OSError(5, "Input/output error"),
    ],
)
def test_a_write_that_fails_is_tried_again_and_loses_nothing(
    tmp_path: Path,
    write: Callable[[], Writer],
    monkeypatch: pytest.MonkeyPatch,
    error: Exception,
) -> None:
    monkeypatch.setattr(module, "AGAIN_AFTER_S", 0.001)
    gate = Gate(monkeypatch)
    gate.fails = [error] * 3
    gate.open.set()
    writer = write()
    for record in (run(), closing(0.0), *windows(0.0, 5.0), event(5.0)):
        writer.put(record)
    while gate.fails:
        gate.reached.wait(0.01)
    writer.close()
    assert codes(tmp_path / FILE_NAME) == ["trip"]
    with Reader(tmp_path / FILE_NAME) as reader:
        assert len(reader.sessions()) == 1
    assert writer.health.trouble == ""


def test_a_broken_file_is_kept_aside_and_a_fresh_one_begun(
    tmp_path: Path, write: Callable[[], Writer]
) -> None:
    path = tmp_path / FILE_NAME
    path.write_bytes(b"what a power cut left" * 500)
    writer = write()
    for record in (run(), closing(0.0), event(1.0)):
        writer.put(record)
    writer.close()
    assert codes(path) == ["journal_set_aside", "trip"]
    (kept,) = tmp_path.glob("journal.broken-*")
    assert kept.read_bytes().startswith(b"what a power cut left")


def test_damage_in_mid_run_begins_a_fresh_file_that_knows_run_and_session(
    tmp_path: Path, write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    gate = Gate(monkeypatch)
    gate.open.set()
    writer = write()
    for record in (run(), closing(0.0), event(1.0)):
        writer.put(record)
    while writer.health.written < 3:
        gate.reached.wait(0.01)
    malformed = sqlite3.DatabaseError("database disk image is malformed")
    malformed.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    gate.fails = [module.Broken(str(malformed))]
    writer.put(event(2.0, "after"))
    writer.put(window(2.1))
    writer.close()
    with Reader(tmp_path / FILE_NAME) as reader:
        (session,) = reader.sessions()
        assert [e.code for e in reader.events()][-1] == "after"
        assert [e.code for e in reader.events(session.id)] == ["journal_set_aside", "after"]
        assert len(list(reader.samples(session.id, SECOND_MS))) == 1
    assert len(list(tmp_path.glob("journal.broken-*"))) == 1


TABLES = ["run", "session", "settings", "event", "progress", "sample", "temperature"]


@pytest.mark.parametrize("table", TABLES)
def test_damage_met_on_opening_it_again_is_no_fault_of_the_records(
    tmp_path: Path, write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch, table: str
) -> None:
    """As after a disk that was full for a while. It is set aside, and every trip is in a file."""
    monkeypatch.setattr(module, "AGAIN_AFTER_S", 0.001)
    gate = Gate(monkeypatch)
    gate.open.set()
    writer = write()
    for record in (run(), closing(0.0), *windows(0.0, 50.0), event(50.0, "stage")):
        writer.put(record)
    while writer.health.written < 503:
        threading.Event().wait(0.002)
    gate.open.clear()
    gate.fails = [OSError(28, "No space left on device")]
    writer.put(event(51.0, "stage"))
    while not writer.health.depth:
        threading.Event().wait(0.002)
    spoil(tmp_path / FILE_NAME, table)
    for k in range(3):
        writer.put(event(52.0 + k, "trip"))
    writer.put(end(60.0))
    gate.open.set()
    writer.close()
    assert writer.health.dropped_events == 0
    assert writer.health.trouble == ""
    told = codes(tmp_path / FILE_NAME)
    if table in ("run", "session", "event"):  # else nothing has met it yet
        assert told == ["journal_set_aside", "stage", "trip", "trip", "trip"]
        assert list(tmp_path.glob("journal.broken-*"))
    assert told.count("trip") == 3


def test_damage_met_while_making_room_is_set_aside_and_what_waited_is_told_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An old session cannot be given up, for its pages are broken: else it grew for ever."""
    met: list[Exception] = []

    def noted(*arguments: object, **keys: object) -> None:
        try:
            prune(*arguments, **keys)  # type: ignore[arg-type]
        except Exception as error:
            met.append(error)
            raise

    monkeypatch.setattr(module, "prune", noted)
    path = written(tmp_path, run(), closing(1.0), *windows(1.0, 4000.0), end(4001.0))
    writer = Writer(tmp_path, path.stat().st_size + 20_000, lambda: WALL_S)
    for record in (run(10_000.0), closing(10_001.0)):
        writer.put(record)
    while writer.health.size_bytes is None:
        threading.Event().wait(0.002)
    spoil_pages(path, 0.4, 0.45)
    for one in windows(10_001.0, 10_300.0):
        writer.put(one)
    writer.put(event(10_300.0, "trip"))
    writer.close()
    assert [type(error) for error in met] == [Broken]
    assert codes(path) == ["journal_set_aside", "trip"]
    with Reader(path) as reader:
        (session,) = reader.sessions()
        assert session.trips == 1
    assert (writer.health.dropped_events, writer.health.trouble) == (0, "")


def test_a_file_removed_in_mid_run_is_begun_anew(
    tmp_path: Path, write: Callable[[], Writer]
) -> None:
    path = tmp_path / FILE_NAME
    writer = write()
    for record in (run(), closing(0.0), event(1.0)):
        writer.put(record)
    while writer.health.written < 3:
        threading.Event().wait(0.01)
    for part in tmp_path.glob("journal.sqlite*"):
        part.unlink()
    writer.put(event(2.0, "after"))
    writer.close()
    assert codes(path) == ["after"]
    with Reader(path) as reader:
        assert len(reader.sessions()) == 1


def test_locked_by_another_it_waits_and_loses_nothing(
    tmp_path: Path, write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "AGAIN_AFTER_S", 0.001)
    monkeypatch.setattr(module, "AGAIN_AT_MOST_S", 0.01)
    path = tmp_path / FILE_NAME
    writer = write()
    writer.put(run())
    while writer.health.written < 1:
        threading.Event().wait(0.01)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    writer.put(closing(0.0))
    writer.put(event(1.0))
    while not writer.health.trouble:
        threading.Event().wait(0.01)
    assert "locked" in writer.health.trouble
    other.execute("COMMIT")
    other.close()
    writer.close()
    assert codes(path) == ["trip"]


def test_a_folder_that_cannot_be_written_is_told_and_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "AGAIN_AFTER_S", 0.001)
    monkeypatch.setattr(module, "AGAIN_AT_MOST_S", 0.01)
    folder = tmp_path / "not yet there"
    writer = Writer(folder, LARGE, lambda: WALL_S)
    writer.put(run())
    while not writer.health.trouble:
        threading.Event().wait(0.01)
    assert "unable to open" in writer.health.trouble
    folder.mkdir()
    writer.put(event(1.0))
    writer.close()
    assert codes(folder / FILE_NAME) == ["trip"]


def test_a_record_that_no_file_takes_costs_only_itself(
    tmp_path: Path, write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    """By a mistake of ours, say."""
    gate = Gate(monkeypatch)
    writer = write()
    writer.put(run())
    assert gate.reached.wait(20)
    bad = event(1.0, "bad")._replace(data={"what": {1, 2}})  # type: ignore[dict-item]
    for record in (closing(0.0), event(0.5, "before"), bad, event(2.0, "after")):
        writer.put(record)
    gate.open.set()
    writer.close()
    assert codes(tmp_path / FILE_NAME)[:2] == ["before", "after"]
    assert writer.health.dropped_events == 1


def test_a_session_is_framed_whatever_else_is_lost(
    tmp_path: Path, write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Progress and windows are dropped, and cues: that it was closed, and until when, is not."""
    monkeypatch.setattr(module, "MOST_SAMPLES", 3)
    monkeypatch.setattr(module, "MOST_REMARKS", 4)
    gate = Gate(monkeypatch)
    writer = write()
    writer.put(run())
    assert gate.reached.wait(20)
    for record in (
        event(9.99, "closed"), closing(10.0), *windows(10.0, 20.0), event(15.0, "cue"),
        event(16.0, "cue"), event(20.0, "trip"), end(30.0), event(38.0, "cue"),
        event(39.99, "closed"), closing(40.0), event(50.0, "finished"),
    ):  # fmt: skip
        writer.put(record)
    gate.open.set()
    writer.close()
    with Reader(tmp_path / FILE_NAME) as reader:
        first, second = reader.sessions()
        assert (first.began_wall_s, first.ended_wall_s) == (WALL_S + 10, WALL_S + 30)
        assert second.began_wall_s == WALL_S + 40
        codes_of_first = [e.code for e in reader.events(first.id)]
        assert codes_of_first == ["closed", "cue", "trip"]
        assert last_closed_wall_s(reader, first.id) == WALL_S + 20
        assert [e.code for e in reader.events(second.id)][:2] == ["closed", "finished"]


RANKS = (
    ["stage", "cue", "cue_ended"],
    ["rest", "profile", "latch_not_written"],
    ["closed", "resumed", "paused", "opened", "opening", "finished", "reset", "ended"],
    ["trip", "unseen_end", "locked_out_at_start"],
)


@pytest.mark.parametrize(("rank", "code"), [(k, code) for k, of in enumerate(RANKS) for code in of])
def test_what_matters_less_is_dropped_first(
    tmp_path: Path,
    write: Callable[[], Writer],
    monkeypatch: pytest.MonkeyPatch,
    rank: int,
    code: str,
) -> None:
    """A night of cues on a full disk pushes out no closing, no opening, no trip."""
    room = ("MOST_SAMPLES", "MOST_REMARKS", "MOST_EVENTS", "MOST_TURNS", "MOST_TRIPS")
    for most, name in enumerate(room, 1):
        monkeypatch.setattr(module, name, most)
    gate = Gate(monkeypatch)
    writer = write()
    writer.put(run())
    assert gate.reached.wait(20)
    for k in range(10):
        writer.put(event(1.0 + k, code))
    writer.put(window(11.0))
    gate.open.set()
    writer.close()
    assert codes(tmp_path / FILE_NAME).count(code) == rank + 1, "the run is one that waits"
    assert writer.health.dropped_events == 10 - (rank + 1)
    assert writer.health.dropped_samples == 1


@pytest.mark.parametrize("code", ["trip", "locked_out_at_start", "unseen_end"])
def test_in_trouble_a_trip_is_tried_at_once(
    tmp_path: Path, write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch, code: str
) -> None:
    """The next try would come in eleven days; and another event does not hasten it."""
    monkeypatch.setattr(module, "AGAIN_AFTER_S", 1e6)
    monkeypatch.setattr(module, "AGAIN_AT_MOST_S", 1e6)
    monkeypatch.setattr(module, "URGENT_AGAIN_AFTER_S", 0.0)
    gate = Gate(monkeypatch)
    gate.open.set()
    gate.fails = [OSError(5, "Input/output error")]
    writer = write()
    writer.put(run())
    while not writer.health.trouble:
        threading.Event().wait(0.002)
    writer.put(event(1.0, "cue"))
    assert writer.health.written == 0
    writer.put(event(2.0, code))
    while writer.health.written < 3:
        threading.Event().wait(0.002)
    assert codes(tmp_path / FILE_NAME) == ["cue", code]
    assert writer.health.trouble == ""


def test_a_trip_that_fails_again_is_tried_as_after_a_first_failure(
    tmp_path: Path, write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    """After a long time in trouble the tries were a minute apart."""
    waits: list[float] = []
    wait = Writer._wait

    def noted(writer: Writer, again_s: float) -> bool:
        if not writer.health.trouble:
            return wait(writer, again_s)
        waits.append(again_s)
        return wait(writer, again_s if len(waits) == 3 else 0.0)

    monkeypatch.setattr(module, "AGAIN_AFTER_S", 100.0)
    monkeypatch.setattr(module, "AGAIN_AT_MOST_S", 1e6)
    monkeypatch.setattr(module, "URGENT_AGAIN_AFTER_S", 0.0)
    monkeypatch.setattr(Writer, "_wait", noted)
    gate = Gate(monkeypatch)
    gate.open.set()
    gate.fails = [OSError(5, "Input/output error")] * 4
    writer = write()
    writer.put(run())
    while len(waits) < 3:
        threading.Event().wait(0.002)
    writer.put(event(1.0))
    while len(waits) < 4:
        threading.Event().wait(0.002)
    writer.close()
    assert waits == [200.0, 400.0, 800.0, 200.0]
    assert codes(tmp_path / FILE_NAME) == ["trip"]


def break_next_connect(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever lies there."""
    connect = Store.connect

    def broken(_store: Store) -> bool:
        monkeypatch.setattr(Store, "connect", connect)
        raise Broken("a test")

    monkeypatch.setattr(Store, "connect", broken)


def test_files_set_aside_in_one_second_are_all_kept(
    tmp_path: Path, write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Or after the clock was set back. The changes that waited beside a file go with it."""
    path = tmp_path / FILE_NAME
    for number in range(3):
        break_next_connect(monkeypatch)
        path.write_bytes(b"broken %d " % number * 500)
        Path(f"{path}-wal").write_bytes(b"changes %d" % number)
        writer = write()
        writer.put(run())
        writer.close()
        path.unlink()
    main, waiting = (
        sorted(p.read_bytes()[:9] for p in tmp_path.glob(f"journal.broken-*{ending}"))
        for ending in ("[0-9]", "-wal")
    )
    assert main == [b"broken %d " % number for number in range(3)]
    assert waiting == [b"changes %d" % number for number in range(3)]


def test_a_power_cut_while_it_is_set_aside_leaves_no_changes_to_a_fresh_file(
    tmp_path: Path, write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite would write the old file's changes into the new one."""
    path, moved = tmp_path / FILE_NAME, []
    path.write_bytes(b"broken" * 500)
    Path(f"{path}-wal").write_bytes(b"changes")
    rename = Path.rename

    def noted(part: Path, target: Path) -> Path:
        moved.append(part.name.removeprefix(FILE_NAME))
        return rename(part, target)

    monkeypatch.setattr(Path, "rename", noted)
    break_next_connect(monkeypatch)
    writer = write()
    writer.put(run())
    writer.close()
    assert moved[-1] == "", "as long as it is there, nothing begins"
    assert "-wal" in moved


def test_the_thread_gives_way_to_the_loop() -> None:
    """It inherits the policy of whoever starts it."""
    found: list[int] = []

    def live() -> None:
        os.sched_setscheduler(0, os.SCHED_BATCH, os.sched_param(0))
        module._give_way()
        found.append(os.sched_getscheduler(0))
        found.append(os.getpriority(os.PRIO_PROCESS, threading.get_native_id()))

    before = os.getpriority(os.PRIO_PROCESS, 0)
    thread = threading.Thread(target=live)
    thread.start()
    thread.join()
    assert found == [os.SCHED_OTHER, max(module.NICE, before)]
    assert os.getpriority(os.PRIO_PROCESS, os.getpid()) == before, "the loop does not"


def test_where_it_may_not_give_way_it_writes_all_the_same(
    tmp_path: Path, write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_arguments: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "sched_setscheduler", refused)
    monkeypatch.setattr(os, "setpriority", refused)
    writer = write()
    for record in (run(), event(1.0)):
        writer.put(record)
    writer.close()
    assert codes(tmp_path / FILE_NAME) == ["trip"]


@pytest.mark.parametrize("fails", [1, 3, 20])
def test_last_words_are_tried_again(
    tmp_path: Path, write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch, fails: int
) -> None:
    """A trip just before the end, while another program holds the file."""
    for name, value in (
        ("AGAIN_AFTER_S", 1e6), ("AGAIN_AT_MOST_S", 1e6), ("URGENT_AGAIN_AFTER_S", 1e6),
        ("LAST_WORDS_AGAIN_S", 0.001),
    ):  # fmt: skip
        monkeypatch.setattr(module, name, value)
    gate = Gate(monkeypatch)
    gate.open.set()
    writer = write()
    writer.put(run())
    while writer.health.written < 1:
        threading.Event().wait(0.002)
    gate.fails = [sqlite3.OperationalError("database is locked")] * fails
    for record in (event(1.0), event(1.1, "opening"), event(1.2, "ended")):
        writer.put(record)
    writer.close()
    assert codes(tmp_path / FILE_NAME) == ["trip", "opening", "ended"]


def test_last_words_come_to_an_end(
    write: Callable[[], Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "LAST_WORDS_S", 0.0)
    monkeypatch.setattr(module, "LAST_WORDS_AGAIN_S", 0.001)

    def full(_store: Store, *_records: object, **_keys: bool) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Store, "write", full)
    writer = write()
    writer.put(run())
    writer.close()
    writer._thread.join(20)
    assert not writer._thread.is_alive()
    assert "No space left" in writer.health.trouble
