"""Which session goes on: over a kill, a restart, other settings, a removal; and what is noted."""

import sqlite3
from pathlib import Path

import pytest
from journals import WALL_S, closing, end, event, left, run, unseen_end, window, windows, written

from supervisor.journal.pruning import remove
from supervisor.journal.reader import EventRow, Reader
from supervisor.journal.records import Progress, Record, SettingsInForce, Temperature
from supervisor.journal.schema import MIGRATIONS
from supervisor.journal.store import Store


def progress(mono_s: float) -> Progress:
    figures = (1.0, 0.1, 3.4, True, None, None, None)
    return Progress(mono_s, WALL_S + mono_s, "closed", "bulk", *figures)


def events_of(path: Path, session: int | None = None) -> list[EventRow]:
    with Reader(path) as reader:
        return reader.events(session)


def unseen(path: Path) -> list[EventRow]:
    return [e for e in events_of(path) if e.code == "unseen_end"]


# --- an end that nobody saw

SIGNS: dict[str, tuple[list[Record], float]] = {
    "the closing alone": ([], 10.0),
    "an event": ([event(12.0, "closed")], 12.0),
    "progress": ([progress(13.0)], 13.0),
    "a temperature": ([Temperature(14.0, WALL_S + 14.0, "heat_sink", 41.0)], 14.0),
    "samples": ([*windows(10.0, 30.05), event(15.0, "cue", is_close=False)], 29.9),
    "a close-up": ([*windows(10.0, 30.0), event(29.95, "stage"), window(30.1)], 30.1),
}


@pytest.mark.parametrize("what", SIGNS)
def test_it_is_dated_to_the_last_sign_of_life_and_belongs_to_that_session(
    tmp_path: Path, what: str
) -> None:
    """Not to the start that finds it, hours later, by a clock that counts from zero again."""
    records, last_s = SIGNS[what]
    path = tmp_path / "journal.sqlite"
    killed(path, run(), closing(1.0), end(9.0), closing(10.0), *records)
    later_s = 90_000.0
    written(tmp_path, run(2.0, wall_s=WALL_S + later_s), unseen_end(3.0), event(4.0, "reset"))
    (found,) = unseen(path)
    assert (found.mono_s, found.run) == (pytest.approx(last_s), 1)
    assert found.wall_s == pytest.approx(WALL_S + last_s)
    assert found.data["found_wall_s"] == WALL_S + 3.0
    with Reader(path) as reader:
        first, second = reader.sessions()
        assert found in reader.events(second.id)
        assert (first.trips, first.unseen_ends) == (0, 0)
        assert (second.trips, second.unseen_ends) == (1, 1)
        assert reader.events(second.id)[-1].code == "reset"


def killed(path: Path, *records: Record) -> None:
    """What was gathered for a row is lost with the process."""
    store = Store(path)
    store.connect()
    store.write(records)
    store.disconnect()


def test_found_again_by_every_start_until_the_reset_it_is_told_once(tmp_path: Path) -> None:
    path = written(tmp_path, run(), closing(10.0), *windows(10.0, 30.0))
    for k in range(3):
        written(tmp_path, run(100.0 + k), unseen_end(100.1 + k), event(100.2 + k, "ended"))
    assert len(unseen(path)) == 1
    written(tmp_path, run(200.0), closing(210.0, is_new=False), *windows(210.0, 220.0))
    written(tmp_path, run(300.0), unseen_end(301.0))
    assert [(e.run, round(e.mono_s)) for e in unseen(path)] == [(1, 30), (5, 220)]


@pytest.mark.parametrize(
    "before",
    [
        [],
        [run()],
        [run(), closing(10.0), end(9000.0)],
        [run(is_simulated=False), closing(10.0)],
    ],
)
def test_where_no_session_was_under_way_it_belongs_to_none(
    tmp_path: Path, before: list[Record]
) -> None:
    """As of a simulation, or the journal of it is lost."""
    path = written(tmp_path, *before, run(1e4), unseen_end(1e4 + 1))
    assert unseen(path) == []


def test_a_bank_that_was_renamed_meanwhile_has_ended_unseen_all_the_same(tmp_path: Path) -> None:
    path = written(tmp_path, run(), event(0.9, "closed"), closing(1.0), *windows(1.0, 70.0))
    for k in range(2):
        written(tmp_path, run(1000.0 + k, bank="Renamed"), unseen_end(1000.1 + k))
    (found,) = unseen(path)
    assert found.mono_s == pytest.approx(70.0)
    with Reader(path) as reader:
        (session,) = reader.sessions()
        assert (session.bank, session.unseen_ends) == ("Hut bank", 1)
        assert found in reader.events(session.id)


def test_a_session_that_was_removed_leaves_it_to_no_other(tmp_path: Path) -> None:
    path = written(tmp_path, run(), closing(10.0), end(5000.0), closing(6000.0))
    removed(path, 2)
    written(tmp_path, run(9000.0), unseen_end(9001.0), event(9002.0, "reset"))
    assert unseen(path) == []
    assert events_of(path, 1) == []


# --- what happens while it is not under way


def test_what_happens_after_a_restart_is_of_the_session_that_may_go_on(tmp_path: Path) -> None:
    path = written(tmp_path, run(), event(9.99, "closed"), closing(10.0), event(20.0, "opened"))
    written(
        tmp_path, run(100.0), event(101.0, "without"), event(102.0, "trip"),
        event(103.0, "reset"), event(104.0, "stage"), event(105.0, "ended"),
    )  # fmt: skip
    assert [e.code for e in events_of(path, 1)] == ["closed", "opened", "trip", "reset", "ended"]
    with Reader(path) as reader:
        (session,) = reader.sessions()
        assert (session.trips, session.unseen_ends, session.newest_run) == (1, 0, 2)


def test_what_happens_after_its_end_is_of_no_session(tmp_path: Path) -> None:
    path = written(tmp_path, run(), closing(10.0), end(5000.0), event(6000.0, "trip"))
    written(tmp_path, run(7000.0), event(7001.0, "trip"))
    assert events_of(path, 1) == []


def test_other_settings_and_back_are_told_from_when_to_when(tmp_path: Path) -> None:
    other = SettingsInForce(30.0, WALL_S + 30, "few", '{"b": 2}')
    path = written(
        tmp_path, run(), event(9.99, "closed"), closing(10.0), event(20.0, "opened"),
        event(30.0, "session_left", profile="few"), left(30.0), other,
        event(30.1, "profile", profile="few"), event(40.0, "stage"),
        event(49.99, "closed"), closing(50.0, cells=4), event(60.0, "opened"),
        event(70.0, "session_left", profile="bank"), left(70.0),
        event(70.1, "profile", profile="bank"),
        event(79.99, "closed"), closing(80.0, is_new=False)._replace(profile="final_hold"),
    )  # fmt: skip
    first, second = ([(e.code, e.data.get("profile")) for e in events_of(path, n)] for n in (1, 2))
    assert first == [
        ("closed", None), ("opened", None), ("session_left", "few"), ("profile", "few"),
        ("closed", None), ("session_goes_on", "final_hold"),
    ]  # fmt: skip
    assert second == [
        ("closed", None), ("opened", None), ("session_left", "bank"), ("profile", "bank"),
    ]  # fmt: skip
    with Reader(path) as reader:
        assert [s.profiles for s in reader.sessions()] == [("bank", "final_hold"), ("bank",)]


def test_closed_again_and_again_it_goes_on_once(tmp_path: Path) -> None:
    """A pulsed hold closes hundreds of times."""
    pulses = [closing(10.0 + k, is_new=False) for k in range(50)]
    path = written(tmp_path, run(), closing(1.0), *pulses)
    assert events_of(path, 1) == []


# --- a session that is not there to go on


def removed(path: Path, session: int) -> None:
    store = Store(path)
    store.connect()
    remove(store.db, session, "a test")
    store.disconnect()


def test_the_newest_removed_an_older_charge_is_not_gone_on_with(tmp_path: Path) -> None:
    path = written(tmp_path, run(), closing(0.0), end(9000.0), closing(9001.0), end(20000.0))
    removed(path, 2)
    written(tmp_path, run(3e4), closing(3e4 + 1, is_new=False), event(3e4 + 2, "closed"))
    with Reader(path) as reader:
        assert [s.id for s in reader.sessions()] == [1, 3]
        assert [e.code for e in reader.events(3)] == ["session_begun_anew", "closed"]
        assert reader.events(1) == []
        assert "its charge counts on" in reader.events(3)[0].text


def test_an_older_one_or_one_of_others_removed_changes_nothing(tmp_path: Path) -> None:
    path = written(
        tmp_path, run(), closing(0.0), end(9000.0), closing(9001.0), left(20000.0),
        closing(20001.0, cells=4), end(30000.0), run(4e4, is_simulated=False), closing(4e4 + 1),
    )  # fmt: skip
    for session in (1, 3, 4):
        removed(path, session)
    written(tmp_path, run(5e4), closing(5e4 + 1, is_new=False))
    with Reader(path) as reader:
        (session,) = reader.sessions()
        assert session.id == 2
        assert [e.code for e in reader.events(2)] == ["session_goes_on"]


def test_removed_by_an_older_program_whose_note_names_no_cells_it_may_have_been_that_one(
    tmp_path: Path,
) -> None:
    path = written(tmp_path, run(), closing(0.0), end(9000.0), closing(9001.0, cells=4))
    removed(path, 2)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE event SET data = '{\"session\": 2}' WHERE code = 'session_removed'")
    written(tmp_path, run(3e4), closing(3e4 + 1, is_new=False))
    with Reader(path) as reader:
        assert [s.id for s in reader.sessions()] == [1, 3]


@pytest.mark.parametrize("restarts", [0, 1, 2])
def test_what_has_ended_never_goes_on(tmp_path: Path, restarts: int) -> None:
    """What was counted is not known to be whole, so the next closing is none of a new session: two
    charges would become one."""
    path = written(tmp_path, run(), event(0.9, "closed"), closing(1.0), end(9000.0))
    starts = [run(1e4 + k) for k in range(restarts)]
    written(tmp_path, *(starts or [run(1e4)]), event(2e4, "closed"), closing(2e4, is_new=False))
    with Reader(path) as reader:
        first, second = reader.sessions()
        assert first.ended_wall_s == WALL_S + 9000.0
        assert [e.code for e in reader.events(first.id)] == ["closed"]
        assert [e.code for e in reader.events(second.id)] == ["closed", "session_begun_anew"]


@pytest.mark.parametrize("data", ["{", "[]", '{"session": "x"}', "{}", "null"])
def test_a_note_that_cannot_be_read_costs_no_closing(tmp_path: Path, data: str) -> None:
    path = written(tmp_path, run(), closing(0.0), end(9000.0), closing(9001.0))
    removed(path, 1)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE event SET data = ? WHERE code = 'session_removed'", (data,))
    db.close()
    written(tmp_path, run(3e4), closing(3e4 + 1, is_new=False))
    with Reader(path) as reader:
        assert [s.id for s in reader.sessions()] == [2]


def test_not_closed_again_after_a_restart_it_ends_all_the_same(tmp_path: Path) -> None:
    path = written(tmp_path, run(), closing(0.0), *windows(0.0, 10.0))
    written(tmp_path, run(100.0), event(101.0, "reset"), end(4e4), event(5e4, "trip"))
    with Reader(path) as reader:
        (session,) = reader.sessions()
        assert session.ended_wall_s == WALL_S + 4e4
        assert [e.code for e in reader.events(session.id)] == ["reset"]


def test_a_fresh_file_says_that_the_charge_counts_on(tmp_path: Path) -> None:
    path = written(tmp_path, run(), closing(0.0, is_new=False))
    assert [e.code for e in events_of(path, 1)] == ["session_begun_anew"]


# --- journals of an older program


def first_version(path: Path, *sql: str) -> Path:
    """One run; what else was written, in SQL."""
    with sqlite3.connect(path) as db:
        db.executescript(MIGRATIONS[0])
        db.executescript("PRAGMA application_id = 0x48574A31; PRAGMA user_version = 1;")
        db.execute("INSERT INTO settings VALUES ('x', '{}')")
        for one in (run_1(1), *sql):
            db.execute(one)
    db.close()
    return path


def run_1(number: int, bank: str = "Hut bank") -> str:
    return f"INSERT INTO run VALUES ({number}, 0, {number}, '0.1', '{bank}', 1, 'x')"


def session_1(number: int, run: int, ended: str = "NULL", cells: int = 32) -> str:
    return (
        "INSERT INTO session (id, run, mono_s, wall_s, bank, cells, profile, is_simulated,"
        f" settings, ended_wall_s) VALUES ({number}, {run}, 5, 5, 'Hut bank', {cells}, 'bank', 1,"
        f" 'x', {ended})"
    )


def closed_1(session: int, run: int) -> str:
    return (
        "INSERT INTO event (session, run, mono_s, wall_s, code, text, data)"
        f" VALUES ({session}, {run}, 6, 6, 'closed', '', '{{}}')"
    )


def test_a_journal_of_the_first_version_is_read_and_gone_on_with(tmp_path: Path) -> None:
    path = first_version(tmp_path / "journal.sqlite", session_1(1, 1))
    with Reader(path) as reader:
        (session,) = reader.sessions()
        assert (session.trips, session.unseen_ends, session.profiles) == (0, 0, ("bank",))
    written(tmp_path, run(100.0), closing(110.0, is_new=False))
    assert [e.code for e in events_of(path, 1)] == ["session_goes_on"]


OF_FIRST_VERSION: dict[str, tuple[list[str], list[tuple[int, int]]]] = {
    "its run": ([session_1(1, 1), closed_1(1, 1)], [(1, 1)]),
    "gone on with in another": (
        [session_1(1, 1), closed_1(1, 1), run_1(2), closed_1(1, 2)], [(1, 2)],
    ),
    "the newest": (
        [session_1(1, 1), closed_1(1, 1), run_1(2), session_1(2, 2), closed_1(2, 2)], [(2, 2)],
    ),
    "back to other cells": (
        [session_1(1, 1), session_1(2, 1, cells=4), closed_1(2, 1), closed_1(1, 1)], [(1, 1)],
    ),
    "of a bank that was renamed": (
        [session_1(1, 1), run_1(2, "Older name"), closed_1(1, 1)], [],
    ),
    "ended": ([session_1(1, 1, "9"), closed_1(1, 1)], []),
    "an old one without an end": (
        [session_1(1, 1), closed_1(1, 1), session_1(2, 1, "9"), closed_1(2, 1)], [],
    ),
    "never closed": ([], []),
}  # fmt: skip


@pytest.mark.parametrize("which", OF_FIRST_VERSION)
def test_killed_while_closed_by_the_first_version_is_told(tmp_path: Path, which: str) -> None:
    sql, ended = OF_FIRST_VERSION[which]
    path = first_version(tmp_path / "journal.sqlite", *sql)
    written(tmp_path, run(100.0), unseen_end(101.0))
    with Reader(path) as reader:
        told = [(s.id, e.run) for s in reader.sessions() for e in reader.events(s.id)
                if e.code == "unseen_end"]  # fmt: skip
    assert told == ended
