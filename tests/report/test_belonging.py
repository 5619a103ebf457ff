"""What a report takes for a session's own, and what it leaves to others."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from ended_charges import a_run, charge_window, progress, record_of, told
from journals import closing, end, left, run, written

from supervisor.journal.records import Record
from supervisor.settings.model import SupervisorSettings


def texts(path: Path, number: int) -> list[str]:
    """Of a session's events; those that the journal itself adds aside."""
    return [event.text for event in record_of(path, number).events if "session" not in event.code]


def a_charge(from_s: float, name: str, *, cells: int = 32) -> Iterator[Record]:
    """Ten seconds closed."""
    yield told(from_s, "closed", f"closed, {name}")
    yield closing(from_s + 0.1, cells=cells)
    yield progress(from_s + 0.1)
    yield charge_window(from_s + 0.2)
    yield told(from_s + 10, "opened", f"opened, {name}")


def two_sessions(folder: Path) -> Path:
    return written(
        folder,
        run(),
        told(0.0, "without", "runs without temperature"),
        told(1.0, "reset", "reset before any session"),
        *a_charge(10.0, "first"),
        end(30.0),
        told(40.0, "trip", "stop button, hours later"),
        told(45.0, "reset", "reset, hours later"),
        *a_charge(50.0, "second", cells=4),
    )


def test_the_closing_that_begins_a_session_is_its_own(tmp_path: Path) -> None:
    assert texts(two_sessions(tmp_path), 1) == ["closed, first", "opened, first"]


def test_what_happens_after_its_end_is_of_no_session(tmp_path: Path) -> None:
    assert texts(two_sessions(tmp_path), 2) == ["closed, second", "opened, second"]


@pytest.mark.parametrize("other", [{"bank": "Barn bank"}, {"is_simulated": False}])
def test_a_run_of_another_bank_or_kind_adds_nothing(
    tmp_path: Path, other: dict[str, object]
) -> None:
    """One journal, two circuits, or a simulation beside the real one: minutes apart."""
    path = written(
        tmp_path,
        run(),
        *a_charge(10.0, "here"),
        run(30.0, **other),
        told(30.0, "locked_out_at_start", "found locked out there"),
        told(31.0, "reset", "reset there"),
        told(32.0, "profile", "profile practice in force there", profile="practice"),
        told(33.0, "trip", "stop button there"),
        told(34.0, "ended", "ended there"),
    )
    assert texts(path, 1) == ["closed, here", "opened, here"]


def test_what_happens_open_between_two_closings_is_the_sessions(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    """Also while the settings of another profile are in force, and nothing is measured for it."""
    path = written(
        tmp_path,
        a_run(hut_settings),
        *a_charge(10.0, "first"),
        left(40.0),
        told(40.0, "profile", "profile final_hold in force", profile="final_hold"),
        told(45.0, "trip", "stop button"),
        told(50.0, "reset", "reset"),
        *(r._replace(is_new=False) if hasattr(r, "is_new") else r for r in a_charge(60.0, "again")),
    )
    assert texts(path, 1) == [
        "closed, first", "opened, first", "profile final_hold in force", "stop button", "reset",
        "closed, again", "opened, again",
    ]  # fmt: skip
