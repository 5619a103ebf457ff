"""A disk that is full, read-only, locked, gone, under a clock that jumps: the loop never notices.

The writer keeps what it has not written, says why, and writes it when it can again. Lockouts share
the disk: at worst one is not written, and stays in force.
"""

import os
import resource
import shutil
import sqlite3
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from journals import WALL_S, closing, codes, event, run, windows

from supervisor.control.latch import Kept, Latch, Lockout
from supervisor.control.lockout import STORE_AGAIN_AFTER_S, LockoutKeeper
from supervisor.control.logbook import Logbook
from supervisor.control.lookback import Lookback
from supervisor.journal import writer as module
from supervisor.journal.reader import Reader
from supervisor.journal.schema import FILE_NAME, SECOND_MS
from supervisor.journal.store import Store
from supervisor.journal.writer import Writer
from supervisor.simulator.clock import SimulatedClock

LARGE = 1 << 30
DISK_BYTES = 8_000_000
YEAR_S = 365.25 * 86400
GIVE_UP_S = 60.0
KEPT = Kept({"supply_thermal": {"rectifier": 0.75}}, "final_hold")
TRIP = Lockout("overvoltage", "front cell too high", "look", "2026-02-01T03:04:05.000+00:00")


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "AGAIN_AFTER_S", 0.001)
    monkeypatch.setattr(module, "AGAIN_AT_MOST_S", 0.01)


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A small one of its own."""
    folder = tmp_path / "disk"
    folder.mkdir()
    if not mounted("-t", "tmpfs", "-o", f"size={DISK_BYTES}", "tmpfs", str(folder)):
        pytest.skip("only root may mount a small disk here")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


def mounted(*arguments: str) -> bool:
    if os.geteuid() != 0 or shutil.which("mount") is None:
        return False
    return subprocess.run(["mount", *arguments], check=False, capture_output=True).returncode == 0


def until(comes_true: Callable[[], object]) -> None:
    """A state of the writer's thread; gives up only where it never comes."""
    end_s = time.monotonic() + GIVE_UP_S
    while not comes_true():
        assert time.monotonic() < end_s, "it never came true"
        threading.Event().wait(0.002)


def begun(folder: Path) -> Writer:
    """A session under way, with one event."""
    writer = Writer(folder, LARGE, lambda: WALL_S)
    for record in (run(), closing(0.0), event(1.0, "before")):
        writer.put(record)
    until(lambda: writer.health.written == 3)
    return writer


def fill(disk: Path) -> Path:
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(bytes(4096))
        except OSError:
            return filler


def put_minutes(writer: Writer, from_s: float) -> int:
    """Four of them, and an event."""
    records = [*windows(from_s, from_s + 240), event(from_s + 240, "after")]
    for record in records:
        writer.put(record)
    return len(records)


def assert_all_there(path: Path) -> None:
    assert codes(path) == ["before", "after"]
    with Reader(path) as reader:
        (session,) = reader.sessions()
        assert len(list(reader.samples(session.id, SECOND_MS))) == 241  # the last is a window long


def test_a_full_disk_is_told_and_loses_nothing_that_the_queue_holds(disk: Path) -> None:
    writer = begun(disk)
    filler = fill(disk)
    put = put_minutes(writer, 1.0)
    until(lambda: writer.health.trouble)
    assert "full" in writer.health.trouble
    assert writer.health.depth == put
    filler.unlink()
    until(lambda: writer.health.written == 3 + put)
    writer.close()
    assert (writer.health.trouble, writer.health.dropped_samples) == ("", 0)
    assert_all_there(disk / FILE_NAME)


def test_a_disk_that_is_full_to_the_last_byte_in_mid_write_loses_nothing(
    disk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The others took the room that was left."""
    monkeypatch.setattr(module, "ROOM_BYTES", 0)
    writer = begun(disk)
    filler = fill(disk)
    put = put_minutes(writer, 1.0)
    until(lambda: writer.health.trouble)
    assert "disk is full" in writer.health.trouble
    filler.unlink()
    until(lambda: writer.health.written == 3 + put)
    writer.close()
    assert_all_there(disk / FILE_NAME)


def test_a_file_that_may_not_grow_is_as_good_as_a_full_disk(tmp_path: Path) -> None:
    """Where nothing can be mounted: a limit on the size of files, as a quota sets it."""
    writer = begun(tmp_path)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    largest = max(part.stat().st_size for part in tmp_path.iterdir())
    resource.setrlimit(resource.RLIMIT_FSIZE, (largest, before[1]))
    try:
        put = put_minutes(writer, 1.0)
        until(lambda: writer.health.trouble)
        assert writer.health.depth == put
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    until(lambda: writer.health.written == 3 + put)
    writer.close()
    assert_all_there(tmp_path / FILE_NAME)


def test_a_disk_that_turns_read_only_is_told_and_loses_nothing(
    disk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the kernel does to a card with errors. Ours can be turned only while no file is open."""
    writer = begun(disk)
    other = sqlite3.connect(disk / FILE_NAME, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    put = put_minutes(writer, 1.0)
    until(lambda: "lock" in writer.health.trouble)
    reached, gate, connect = threading.Event(), threading.Event(), Store.connect

    def gated(store: Store) -> bool:
        store.disconnect()
        reached.set()
        gate.wait(GIVE_UP_S)
        return connect(store)

    monkeypatch.setattr(Store, "connect", gated)
    assert reached.wait(GIVE_UP_S)
    other.close()
    assert mounted("-o", "remount,ro", str(disk))
    gate.set()
    until(lambda: "lock" not in writer.health.trouble)
    print(writer.health.trouble)
    assert writer.health.trouble
    assert writer.health.depth == put
    assert mounted("-o", "remount,rw", str(disk))
    until(lambda: writer.health.written == 3 + put)
    writer.close()
    assert_all_there(disk / FILE_NAME)


def test_locked_by_another_for_long_it_waits_and_loses_nothing(tmp_path: Path) -> None:
    writer = begun(tmp_path)
    other = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    put = put_minutes(writer, 1.0)
    until(lambda: writer.health.trouble)
    assert "locked" in writer.health.trouble
    assert writer.health.depth == put
    other.close()
    until(lambda: writer.health.written == 3 + put)
    writer.close()
    assert_all_there(tmp_path / FILE_NAME)


def test_a_folder_removed_is_told_and_a_new_one_begun_when_it_is_back(tmp_path: Path) -> None:
    folder = tmp_path / "state"
    folder.mkdir()
    writer = begun(folder)
    shutil.rmtree(folder)
    put = put_minutes(writer, 1.0)
    until(lambda: writer.health.trouble)
    assert "unable to open" in writer.health.trouble
    folder.mkdir()
    until(lambda: writer.health.written == 3 + put)
    writer.close()
    assert codes(folder / FILE_NAME) == ["after"]
    with Reader(folder / FILE_NAME) as reader:
        (session,) = reader.sessions()
        assert len(list(reader.samples(session.id, SECOND_MS))) == 241  # the last is a window long


@pytest.mark.parametrize("years", [-56, -10, 10, 200])
def test_a_clock_stepped_by_years_and_back_changes_dates_only(tmp_path: Path, years: int) -> None:
    """Two minutes true, two stepped, two true again; the writer's own clock jumps as well."""
    step_s = [0.0, years * YEAR_S, 0.0]
    walls = iter(step_s * 1000)
    writer = Writer(tmp_path, LARGE, lambda: WALL_S + next(walls))
    writer.put(run())
    writer.put(closing(0.0))
    for k, by_s in enumerate(step_s):
        put = 2 + 1201 * (k + 1)
        for window in windows(120.0 * k, 120.0 * (k + 1)):
            writer.put(window._replace(wall_s=window.wall_s + by_s))
        writer.put(event(120.0 * (k + 1), f"event {k}")._replace(wall_s=WALL_S + by_s))
        until(lambda put=put: writer.health.written == put)
    writer.close()
    assert (writer.health.trouble, writer.health.dropped_events) == ("", 0)
    with Reader(tmp_path / FILE_NAME) as reader:
        (session,) = reader.sessions()
        samples = list(reader.samples(session.id, SECOND_MS))
        assert [e.code for e in reader.events(session.id)] == ["event 0", "event 1", "event 2"]
        assert [e.wall_s - WALL_S for e in reader.events()] == pytest.approx(step_s)
    assert [round(s.mono_s, 1) for s in samples] == [*(k + 0.9 for k in range(360)), 360.0]
    stepped_s = [round(s.wall_s - s.mono_s - WALL_S) for s in samples]
    assert stepped_s[:120] == [0] * 120
    assert stepped_s[121:240] == [round(years * YEAR_S)] * 119
    assert stepped_s[241:] == [0] * 120


# --- the lockout file on the same disk


def test_a_journal_that_fills_the_disk_leaves_room_for_the_lockout(disk: Path) -> None:
    latch = Latch(disk)
    latch.arm("2026-02-01T03:04:05.000+00:00", KEPT)
    writer = Writer(disk, LARGE, lambda: WALL_S)
    for record in (run(), closing(0.0)):
        writer.put(record)
    minute, put = 0, 2
    while not writer.health.trouble:
        for one in windows(60.0 * minute, 60.0 * (minute + 1)):
            writer.put(one)
        minute += 1
        writer.put(event(60.0 * minute, "cue"))
        put += 601
        until(lambda put=put: writer.health.written == put or writer.health.trouble)
    assert "full" in writer.health.trouble
    assert os.statvfs(disk).f_bavail > 0
    latch.lock(TRIP, KEPT)
    assert latch.read("now") == TRIP
    assert os.statvfs(disk).f_bavail > 0
    writer.close()
    assert codes(disk / FILE_NAME) == ["cue"] * ((writer.health.written - 2) // 601)


def test_a_disk_filled_by_others_leaves_what_was_armed_locked(disk: Path) -> None:
    """A trip that cannot be written is found at the next start all the same."""
    latch = Latch(disk)
    latch.arm("2026-02-01T03:04:05.000+00:00", KEPT)
    fill(disk)
    with pytest.raises(OSError, match="No space"):
        latch.lock(TRIP, KEPT)
    found = latch.read("now")
    assert found is not None
    assert "ended without a word" in found.reason
    with pytest.raises(OSError, match="No space"):
        latch.arm("later", KEPT)  # so the circuit does not close


def test_a_trip_on_a_full_disk_stands_in_memory_and_is_told_as_not_stored(disk: Path) -> None:
    clock = SimulatedClock()
    logbook = Logbook(clock)
    keeper = LockoutKeeper(
        Latch(disk), logbook, clock,
        lookback=Lookback(), to_keep=lambda: KEPT,
        is_closed=lambda: False,
        before_write=lambda: None, after_write=lambda: None,
    )  # fmt: skip
    assert keeper.arm()
    filler = fill(disk)
    keeper.lock(TRIP)
    keeper.store()
    assert keeper.tried_to_store
    assert not keeper.stored
    assert keeper.lockout == TRIP
    assert not keeper.clear("tried")
    assert keeper.lockout == TRIP
    assert [e.code for e in logbook.events()].count("latch_not_written") == 2
    filler.unlink()
    clock.sleep_until(clock.now_s() + STORE_AGAIN_AFTER_S)
    keeper.store()
    assert keeper.stored
    assert Latch(disk).read("now") == TRIP


def test_a_broken_journal_is_kept_aside_and_the_lockout_beside_it_stays(tmp_path: Path) -> None:
    latch = Latch(tmp_path)
    latch.lock(TRIP, KEPT)
    (tmp_path / FILE_NAME).write_bytes(os.urandom(9000))
    writer = begun(tmp_path)
    writer.close()
    assert codes(tmp_path / FILE_NAME) == ["journal_set_aside", "before"]
    assert latch.read("now") == TRIP


def test_a_start_on_a_disk_that_fails_for_long_tells_its_run_first_and_then_the_loss(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "not yet there"
    writer = Writer(folder, LARGE, lambda: WALL_S)
    for record in (run(), closing(0.0), *windows(0.0, 400.0), event(400.0)):
        writer.put(record)
    folder.mkdir()
    until(lambda: not writer.health.trouble and writer.health.depth == 0)
    writer.close()
    with Reader(folder / FILE_NAME) as reader:
        (session,) = reader.sessions()
        found = [(e.code, e.data.get("samples")) for e in reader.events(session.id)]
    assert found == [("trip", None), ("journal_lost", writer.health.dropped_samples)]
    assert writer.health.dropped_samples == 4000 + 2 - module.MOST_SAMPLES
