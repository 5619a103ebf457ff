"""What is written is there: sessions, samples of each span, events, and nothing by halves."""

import sqlite3
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from journals import WALL_S, closing, codes, end, event, left, run, spoil, window, windows, written

from supervisor.journal import opening as module
from supervisor.journal.opening import Broken
from supervisor.journal.pruning import prune, remove
from supervisor.journal.reader import NoJournal, Reader
from supervisor.journal.records import (
    UNKNOWN,
    Progress,
    SessionLeft,
    SettingsInForce,
    Span,
    Temperature,
)
from supervisor.journal.schema import FILE_NAME, MINUTE_MS, SECOND_MS, WINDOW_MS
from supervisor.journal.store import Store


def test_a_session_with_its_rows_of_a_second_and_of_a_minute(tmp_path: Path) -> None:
    path = written(tmp_path, run(), closing(0.0), *windows(0.0, 180.0))
    with Reader(path) as reader:
        (session,) = reader.sessions()
        assert (session.bank, session.cells, session.is_simulated) == ("Hut bank", 32, True)
        assert session.settings == {"a": 1}
        seconds = list(reader.samples(session.id, SECOND_MS))
        minutes = list(reader.samples(session.id, MINUTE_MS))
    assert len(seconds) == 181  # the last window begins a second of its own
    assert {sample.windows for sample in seconds[1:-1]} == {10}
    assert len(minutes) == 4
    assert minutes[1].windows == minutes[1].good == 600
    assert seconds[5].front_v == pytest.approx((3.5, 3.49, 3.51))
    assert seconds[5].current_a == pytest.approx((50, 49, 51))
    assert seconds[5].wall_s - seconds[5].mono_s == WALL_S


def test_no_peak_is_lost(tmp_path: Path) -> None:
    records = list(windows(0.0, 60.0))
    records[333] = window(33.4, front_v=records[333].front_v._replace(high=3.66))
    with Reader(written(tmp_path, run(), closing(0.0), *records)) as reader:
        for span_ms in (SECOND_MS, MINUTE_MS):
            assert max(s.front_v.high or 0 for s in reader.samples(1, span_ms)) == 3.66


def test_what_could_not_be_told_makes_no_mean(tmp_path: Path) -> None:
    bad = window(0.5, front_v=UNKNOWN, far_v=UNKNOWN, current_a=UNKNOWN, is_good=False)
    only_bad = [bad._replace(mono_s=1.0 + k / 10) for k in range(10)]
    records = [window(0.1, volts=3.0), bad, window(0.9, volts=4.0), *only_bad, window(2.0)]
    with Reader(written(tmp_path, run(), closing(0.0), *records)) as reader:
        first, second, _ = reader.samples(1, SECOND_MS)
    assert first.front_v == pytest.approx((3.5, 2.99, 4.01))
    assert (first.good, first.windows) == (2, 3)
    assert second.front_v == UNKNOWN
    assert (second.good, second.windows) == (0, 10)


def test_every_window_of_the_minute_around_an_event(tmp_path: Path) -> None:
    path = written(
        tmp_path, run(), closing(0.0), *windows(0.0, 100.0), event(100.0), *windows(100.0, 300.0)
    )
    with Reader(path) as reader:
        fine = [sample.mono_s for sample in reader.samples(1, WINDOW_MS)]
    assert fine == pytest.approx([70.0 + k / 10 for k in range(601)])


def test_two_events_close_together_keep_each_window_once(tmp_path: Path) -> None:
    path = written(
        tmp_path, run(), closing(0.0), *windows(0.0, 50.0), event(50.0), *windows(50.0, 60.0),
        event(60.0), *windows(60.0, 200.0),
    )  # fmt: skip
    with Reader(path) as reader:
        fine = [sample.mono_s for sample in reader.samples(1, WINDOW_MS)]
    assert fine == pytest.approx([20.0 + k / 10 for k in range(701)])


def test_far_from_a_charge_there_is_a_row_a_minute_only(tmp_path: Path) -> None:
    idle = [w._replace(is_fine=False) for w in windows(0.0, 180.0)]
    with Reader(written(tmp_path, run(), closing(0.0), *idle)) as reader:
        assert len(list(reader.samples(1, MINUTE_MS))) == 4
        assert list(reader.samples(1, SECOND_MS)) == []


def test_before_the_first_closing_there_are_events_only(tmp_path: Path) -> None:
    path = written(tmp_path, run(), *windows(0.0, 5.0), event(5.0, "profile"))
    with Reader(path) as reader:
        assert reader.sessions() == []
        assert [e.code for e in reader.events()] == ["profile"]


def test_a_session_goes_on_over_openings_and_restarts_until_it_ends(tmp_path: Path) -> None:
    path = written(tmp_path, run(), closing(0.0), event(1.0, "closed"))
    written(tmp_path, run(500.0), closing(510.0, is_new=False), event(511.0, "again"), end(9000.0))
    written(tmp_path, run(9500.0), closing(9501.0), event(9502.0, "anew"))
    with Reader(path) as reader:
        first, second = reader.sessions()
        assert [e.code for e in reader.events(first.id)] == ["closed", "session_goes_on", "again"]
        assert [e.code for e in reader.events(second.id)] == ["anew"]
        assert first.ended_wall_s == WALL_S + 9000.0
        assert second.ended_wall_s is None


def test_other_cells_or_another_bank_or_a_simulation_never_go_on_with_it(tmp_path: Path) -> None:
    path = written(tmp_path, run(), closing(0.0))
    written(tmp_path, run(1.0), closing(2.0, is_new=False, cells=4))
    written(tmp_path, run(3.0, is_simulated=False), closing(4.0, is_new=False))
    written(tmp_path, run(5.0, bank="Another"), closing(6.0, is_new=False))
    written(tmp_path, run(7.0), closing(8.0, is_new=False))
    with Reader(path) as reader:
        assert len(reader.sessions()) == 4


def test_settings_are_kept_once(tmp_path: Path) -> None:
    other = SettingsInForce(5.0, WALL_S, "small", '{"b": 2}')
    path = written(tmp_path, run(), closing(0.0), other, closing(6.0), run(9.0), closing(10.0))
    with Reader(path) as reader:
        assert [s.settings for s in reader.sessions()] == [{"a": 1}, {"b": 2}, {"a": 1}]
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT count(*) FROM settings").fetchone() == (2,)


def test_progress_and_temperatures(tmp_path: Path) -> None:
    progress = Progress(
        60.0, WALL_S + 60, "closed", "bulk", 12.5, 0.2, 43.0, True, 0.1, 3.4, 0.0003
    )
    warm = Temperature(60.0, WALL_S + 60, "heat_sink", 41.5)
    lost = Temperature(70.0, WALL_S + 70, "heat_sink", None)
    with Reader(written(tmp_path, run(), closing(0.0), progress, warm, lost)) as reader:
        (row,) = reader.progress(1)
        assert (row.charged_ah, row.is_whole, row.stage) == (12.5, True, "bulk")
        assert [t.celsius for t in reader.temperatures(1)] == [41.5, None]


def test_events_come_with_their_numbers_and_in_order(tmp_path: Path) -> None:
    path = written(tmp_path, run(), closing(0.0), event(1.0, volts=3.61), event(2.0, "reset"))
    with Reader(path) as reader:
        trip, reset = reader.events(1)
        assert trip.data == {"volts": 3.61}
        assert reader.events(1, after=trip.id) == [reset]
        assert reader.sessions()[0].trips == 1


# Nothing by halves


def test_a_transaction_that_fails_changes_nothing(tmp_path: Path) -> None:
    """An event whose text is none: its session, the rows before it, all of it comes again."""
    path = written(tmp_path, run(), closing(0.0))
    store = Store(path)
    store.connect()
    bad = event(7.0)._replace(text=None)  # type: ignore[arg-type]
    batch = [run(1.0), closing(2.0), *windows(2.0, 7.0)]
    with pytest.raises(sqlite3.IntegrityError):
        store.write([*batch, bad])
    store.write([*batch, event(7.0)])
    store.disconnect()
    with Reader(path) as reader:
        assert [s.id for s in reader.sessions()] == [1, 2]
        assert len(list(reader.samples(2, WINDOW_MS))) == 50


@given(st.lists(st.integers(1, 400), min_size=1, max_size=8))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=20)
def test_the_same_rows_however_it_is_cut_into_transactions(
    tmp_path_factory: pytest.TempPathFactory, cuts: list[int]
) -> None:
    records = [*windows(0.0, 30.0), event(30.0), *windows(30.0, 90.0)]
    whole = written(tmp_path_factory.mktemp("whole"), run(), closing(0.0), *records)
    path = tmp_path_factory.mktemp("cut") / FILE_NAME
    store = Store(path)
    store.connect()
    store.write([run(), closing(0.0)])
    while records:
        count = cuts[len(records) % len(cuts)]
        store.write(records[:count], flush=count >= len(records))
        records = records[count:]
    store.disconnect()
    with Reader(whole) as a, Reader(path) as b:
        for span_ms in (WINDOW_MS, SECOND_MS, MINUTE_MS):
            assert list(a.samples(1, span_ms)) == list(b.samples(1, span_ms))


# Files that are none of ours


@pytest.mark.parametrize("content", [b"nonsense" * 1000, b"\0" * 8192])
def test_what_is_no_journal_is_broken(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / FILE_NAME
    path.write_bytes(content)
    with pytest.raises(Broken):
        Store(path).connect()


def test_a_file_of_another_program_is_never_written(tmp_path: Path) -> None:
    path = tmp_path / FILE_NAME
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE diary (day TEXT)")
    with pytest.raises(Broken, match="no journal of this program"):
        Store(path).connect()
    with pytest.raises(NoJournal, match="no journal of this program"):
        Reader(path)


def test_a_newer_version_is_never_written(tmp_path: Path) -> None:
    path = written(tmp_path, run())
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 99")
    with pytest.raises(Broken, match="newer program"):
        Store(path).connect()
    with pytest.raises(NoJournal, match="newer program"):
        Reader(path)


@pytest.mark.parametrize("at", [0.2, 0.5, 0.9])
def test_damage_within_is_found_at_the_start(tmp_path: Path, at: float) -> None:
    path = written(tmp_path, run(), closing(0.0), *windows(0.0, 3000.0))
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(int(size * at) // 4096 * 4096)
        file.write(b"\xff" * 4096)
    with pytest.raises(Broken):
        Store(path).connect()


WORK: dict[str, Callable[[Store], object]] = {
    "connect": lambda store: (store.disconnect(), store.connect()),
    "write": lambda store: store.write([event(5001.0), closing(5002.0, is_new=False)]),
    "what goes on": lambda store: store.goes_on,
    "prune": lambda store: prune(store.db, 0, keep=None),
    "remove": lambda store: remove(store.db, 1, "a test"),
}


MET = (
    ("connect", "run"), ("connect", "session"), ("write", "session"), ("write", "event"),
    ("what goes on", "run"), ("prune", "session"), ("prune", "sample"), ("remove", "session"),
    ("remove", "sample"), ("remove", "event"),
)  # fmt: skip


@pytest.mark.parametrize(("work", "table"), MET)
def test_damage_is_broken_wherever_it_is_met(tmp_path: Path, work: str, table: str) -> None:
    """Never a plain error of SQLite's, for which a record could be blamed."""
    path = written(tmp_path, run(), closing(0.0), *windows(0.0, 900.0), event(900.0), end(2000.0))
    store = Store(path)
    store.connect()
    store.write([run(5000.0), closing(5000.5)])
    store.disconnect()
    spoil(path, table)
    with suppress(Broken):
        store.connect()
    with pytest.raises(Broken):
        WORK[work](store)
    store.disconnect()


def test_a_reader_says_that_there_is_none(tmp_path: Path) -> None:
    with pytest.raises(NoJournal, match="there is no journal"):
        Reader(tmp_path / FILE_NAME)


def test_a_file_that_was_taken_away_is_begun_anew(tmp_path: Path) -> None:
    path = tmp_path / FILE_NAME
    store = Store(path)
    store.connect()
    store.write([run(), closing(0.0)])
    assert store.connect()
    path.rename(tmp_path / "elsewhere")
    assert not store.connect(), "it has to be told of run and session"
    store.write([run(), closing(0.0), event(5.0)])
    store.disconnect()
    assert codes(path) == ["trip"]


def test_the_newest_samples_are_of_the_newest_run_only(tmp_path: Path) -> None:
    path = written(tmp_path, run(), closing(0.0), *windows(0.0, 100.0))
    written(tmp_path, run(500.0), closing(501.0, is_new=False), *windows(501.0, 531.0))
    with Reader(path) as reader:
        assert len(reader.newest_samples(1, SECOND_MS, 10.0)) == 11
        assert len(reader.newest_samples(1, SECOND_MS, 600.0)) == 31
        assert reader.newest_samples(2, SECOND_MS, 600.0) == []


def test_what_was_noted_as_it_closed_belongs_to_its_session(tmp_path: Path) -> None:
    """The loop says "closed" a moment before the journal knows which session that is."""
    path = written(
        tmp_path, run(), event(3.0, "profile"), event(9.99, "closed"), closing(10.0), event(11.0)
    )
    with Reader(path) as reader:
        assert [e.code for e in reader.events(1)] == ["closed", "trip"]


@pytest.mark.parametrize("cells", [4, 32])
def test_a_trip_in_the_first_cycle_belongs_to_the_closing_before_it(
    tmp_path: Path, cells: int
) -> None:
    """Of a bank beside the other one, or of the same one anew; the loop stood still in between."""
    path = written(
        tmp_path, run(), event(9.99, "closed"), closing(10.0), event(20.0, "opened"),
        event(30.0, "session_left"), left(30.0),
        event(40.0, "closed"), event(42.0, "trip"), event(42.1, "opening"),
        closing(45.0, cells=cells), event(50.0, "reset"),
    )  # fmt: skip
    with Reader(path) as reader:
        first, second = reader.sessions()
        assert [e.code for e in reader.events(first.id)] == ["closed", "opened", "session_left"]
        assert [e.code for e in reader.events(second.id)] == ["closed", "trip", "opening", "reset"]
        assert (first.trips, second.trips) == (0, 1)


def test_the_journals_own_notes_stay_of_no_session(tmp_path: Path) -> None:
    """A session removed just as another one began: with that one, its note would be gone."""
    path = written(tmp_path, run(), closing(0.0), end(9000.0), closing(9001.0), end(2e4))
    store = Store(path)
    store.connect()
    store.write([run(3e4), event(3e4 + 1, "closed")])
    remove(store.db, 2, "a test")
    store.write([closing(3e4 + 1)])
    store.disconnect()
    with Reader(path) as reader:
        assert [e.code for e in reader.events(3)] == ["closed"]
        assert "session_removed" in [e.code for e in reader.events()]


def test_nothing_of_one_session_gets_into_another(tmp_path: Path) -> None:
    """The old bank rests at 3.649 V as a profile of other cells is put in force."""
    old = [w._replace(front_v=Span(3.649, 3.648, 3.65)) for w in windows(0.0, 90.0)]
    path = written(
        tmp_path, run(), closing(0.0), *old, SessionLeft(90.0, WALL_S + 90.0), *windows(90.0, 95.0),
        event(95.0, "closed"), closing(95.1, cells=4), *windows(95.1, 200.0),
    )  # fmt: skip
    with Reader(path) as reader:
        for span_ms in (SECOND_MS, MINUTE_MS):
            assert max(s.front_v.high or 0 for s in reader.samples(2, span_ms)) < 3.6
            assert sum(s.windows for s in reader.samples(1, span_ms)) == 900
        assert [e.code for e in reader.events(2)] == ["closed"]
        assert reader.events(1) == []


def test_text_that_no_file_takes_costs_no_event(tmp_path: Path) -> None:
    odd = event(1.0, "reset", reason="\ud800")._replace(text="reset by \udc80")
    with Reader(written(tmp_path, run(), closing(0.0), odd)) as reader:
        (reset,) = reader.events(1)
    assert (reset.text, reset.data) == ("reset by ?", {"reason": "?"})


def test_a_session_that_was_removed_by_hand_is_begun_anew(tmp_path: Path) -> None:
    path = tmp_path / FILE_NAME
    store = Store(path)
    store.connect()
    store.write([run(), closing(0.0)])
    with sqlite3.connect(path) as db:
        db.execute("DELETE FROM session")
    assert not store.connect(), "it has to be told again"
    store.disconnect()


def test_a_file_is_examined_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It takes its time on a large one; a lock or a full disk does not damage it."""
    examined: list[object] = []
    monkeypatch.setattr(module, "_check", examined.append)
    store = Store(written(tmp_path, run()))
    examined.clear()
    for _ in range(3):
        store.connect()
        store.disconnect()
    assert len(examined) == 1
