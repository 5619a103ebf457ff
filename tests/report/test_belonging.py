"""Events that the journal gives to no session, and whose they are."""

from pathlib import Path

from ended_charges import charge_window, progress, told
from journals import closing, end, run, written

from supervisor.journal.reader import Reader
from supervisor.report.belonging import events_of


def texts(path: Path, number: int) -> list[str]:
    with Reader(path) as reader:
        session = reader.session(number)
        assert session is not None
        return [event.text for event in events_of(reader, session)]


def two_sessions(folder: Path) -> Path:
    return written(
        folder,
        run(),
        told(0.0, "without", "runs without temperature"),
        told(1.0, "reset", "reset before any session"),
        told(10.0, "closed", "closed, first"),
        closing(10.1),
        progress(10.1),
        charge_window(10.2),
        told(20.0, "opened", "opened, first"),
        end(30.0),
        told(40.0, "trip", "stop button, hours later"),
        told(45.0, "reset", "reset, hours later"),
        told(50.0, "closed", "closed, second"),
        closing(50.1, cells=4),
        progress(50.1),
        charge_window(50.2),
        told(60.0, "opened", "opened, second"),
    )


def test_the_closing_that_begins_a_session_is_its_own(tmp_path: Path) -> None:
    assert texts(two_sessions(tmp_path), 1) == ["closed, first", "opened, first"]


def test_what_happens_after_its_end_is_of_no_session(tmp_path: Path) -> None:
    assert texts(two_sessions(tmp_path), 2) == ["closed, second", "opened, second"]
