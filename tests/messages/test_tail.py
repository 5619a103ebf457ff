"""Each event of the journal once: over restarts, other files, and numbers that are given anew."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from journals import closing as closes
from message_bench import JournalBench, Time

from supervisor.journal.pruning import remove
from supervisor.journal.records import UnseenEnd
from supervisor.messages.tail import Position, Tail


@pytest.fixture
def time() -> Time:
    return Time()


@pytest.fixture
def journal(tmp_path: Path, time: Time) -> Iterator[JournalBench]:
    journal = JournalBench(tmp_path, time)
    journal.begin()
    yield journal
    journal.close()


def told(tail: Tail) -> list[str]:
    """What is new, and then done."""
    found = tail.read()
    for one in found:
        tail.advance(one)
    return [one.event.text for one in found]


def say(journal: JournalBench, time: Time, *texts: str) -> None:
    for text in texts:
        time.pass_(1)
        journal.tell("note", text)


def test_each_event_is_new_once_over_restarts(journal: JournalBench, time: Time) -> None:
    tail = Tail(journal.path, Position())
    say(journal, time, "one", "two")
    assert told(tail) == ["one", "two"]
    assert told(tail) == []
    say(journal, time, "three")
    assert told(Tail(journal.path, tail.position)) == ["three"]


def test_reading_alone_forgets_nothing(journal: JournalBench, time: Time) -> None:
    say(journal, time, "one")
    tail = Tail(journal.path, Position())
    assert len(tail.read()) == len(tail.read()) == 1


def test_a_file_that_is_set_aside_begins_anew_without_repeats(
    journal: JournalBench, time: Time
) -> None:
    tail = Tail(journal.path, Position())
    say(journal, time, "one", "two", "three")
    assert told(tail) == ["one", "two", "three"]
    time.pass_(1)
    journal.set_aside()
    assert told(tail) == ["kept"]  # the event that says so
    say(journal, time, "four")
    assert told(Tail(journal.path, tail.position)) == ["four"]


def test_what_was_not_read_of_a_file_that_follows_is_not_lost(
    journal: JournalBench, time: Time
) -> None:
    tail = Tail(journal.path, Position())
    say(journal, time, "one")
    assert told(tail) == ["one"]
    time.pass_(1)
    journal.set_aside()
    say(journal, time, "two", "three", "four")  # as many as before: the same numbers
    assert told(tail) == ["kept", "two", "three", "four"]


def test_a_file_removed_while_the_daemon_was_off_begins_anew(
    journal: JournalBench, time: Time
) -> None:
    tail = Tail(journal.path, Position())
    say(journal, time, "one", "two")
    assert told(tail) == ["one", "two"]
    journal.close()
    for part in journal.path.parent.glob("journal.sqlite*"):
        part.unlink()
    assert told(tail) == []
    assert "there is no journal" in tail.problem
    time.pass_(-86_400)  # and its clock is behind now
    journal.begin()
    say(journal, time, "three", "four")
    assert told(tail) == ["three", "four"]


def test_an_older_copy_of_the_file_repeats_nothing(journal: JournalBench, time: Time) -> None:
    tail = Tail(journal.path, Position())
    say(journal, time, "one", "two")
    with closing(sqlite3.connect(journal.path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    copy = journal.path.read_bytes()
    say(journal, time, "three")
    journal.begin()
    say(journal, time, "four")
    assert told(tail) == ["one", "two", "three", "four"]
    journal.close()
    for part in journal.path.parent.glob("journal.sqlite*"):
        part.unlink()
    journal.path.write_bytes(copy)
    assert told(tail) == []
    time.pass_(1)
    journal.begin()
    say(journal, time, "five")
    assert told(tail) == ["five"]


def test_numbers_given_anew_after_a_session_was_removed_are_new_events(
    journal: JournalBench, time: Time
) -> None:
    tail = Tail(journal.path, Position())
    say(journal, time, "before")
    time.pass_(1)
    journal.write(closes(time.at_s))
    say(journal, time, "in it", "in it too", "at its end")
    assert told(tail) == ["before", "in it", "in it too", "at its end"]
    journal.close()
    with closing(sqlite3.connect(journal.path, isolation_level=None)) as db:
        remove(db, 1, "asked for by hand")
    time.pass_(1)
    journal.begin()
    say(journal, time, "after")
    assert told(tail)[-1] == "after"
    say(journal, time, "and after")
    assert told(tail) == ["and after"]


def test_an_end_that_is_found_out_later_does_not_bring_its_run_back(
    journal: JournalBench, time: Time
) -> None:
    """It is dated back into the run that ended, but written after the start of the next."""
    tail = Tail(journal.path, Position())
    time.pass_(1)
    journal.write(closes(time.at_s))
    say(journal, time, "in the first run")
    assert told(tail) == ["in the first run"]
    time.pass_(60)
    journal.begin()
    say(journal, time, "found at start")
    journal.write(UnseenEnd(time.at_s, time.at_wall_s, "ended unseen", "look"))
    assert told(tail) == ["found at start", "ended unseen"]
    time.pass_(1)
    journal.set_aside()
    say(journal, time, "after")
    assert told(tail) == ["kept", "after"]


@pytest.mark.parametrize("content", [b"", b"no database", b"SQLite format 3\x00" + b"\x99" * 4000])
def test_a_file_that_is_no_journal_is_waited_for(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "journal.sqlite"
    path.write_bytes(content)
    tail = Tail(path, None)
    assert tail.read() == []
    assert tail.problem
    assert not tail.is_missing


def test_one_that_another_program_locks_is_waited_for(journal: JournalBench, time: Time) -> None:
    say(journal, time, "one")
    tail = Tail(journal.path, Position())
    journal.close()
    with closing(sqlite3.connect(journal.path, isolation_level=None)) as db:
        db.execute("PRAGMA locking_mode = EXCLUSIVE")
        db.execute("UPDATE event SET data = '{\"more\": 1}'")
        assert tail.read() == []
        assert "locked" in tail.problem
    assert told(tail) == ["one"]
    assert tail.problem == ""
