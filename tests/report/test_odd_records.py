"""Whatever another version, or a fault, wrote as settings or as numbers of an event: a report comes
of it, and no traceback."""

import json
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from ended_charges import record_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pages import silent, words

from supervisor.journal.reader import NoJournal
from supervisor.report import page as page_room
from supervisor.report.compare import comparison_page
from supervisor.report.page import session_page
from supervisor.report.record import NothingToReport

ODD: tuple[Any, ...] = (
    None, True, 0, -1, 10**300, float("nan"), float("inf"), -float("inf"), 1e300, 5e-324, "", "3.6",
    "<b>", "a.b", [], [3.6], {}, {"a": 1}, {"": None}, [{}], {"a": {"b": [None]}},
)  # fmt: skip
Path_ = tuple[str, ...]


def paths(value: Any, path: Path_ = ()) -> Iterator[Path_]:
    """Of every block and value below this one."""
    yield path
    if isinstance(value, dict):
        for key, part in value.items():
            yield from paths(part, (*path, key))


def put(value: Any, path: Path_, odd: Any) -> Any:
    """The same with something else at a path; where an earlier change took the way away, there."""
    if not path or not isinstance(value, dict):
        return odd
    key, *rest = path
    return value | {key: put(value.get(key), tuple(rest), odd)}


def rewrite(journal: Path, select: str, update: str, change: Any) -> None:
    """JSON texts of a table, each by a function."""
    with closing(sqlite3.connect(journal)) as db, db:
        for number, text in db.execute(select).fetchall():
            db.execute(update, (json.dumps(change(json.loads(text))), number))


def rewrite_settings(journal: Path, change: Any) -> None:
    select = "SELECT sha256, text FROM settings"
    rewrite(journal, select, "UPDATE settings SET text = ? WHERE sha256 = ?", change)


def rewrite_events(journal: Path, change: Any) -> None:
    select = "SELECT id, data FROM event"
    rewrite(journal, select, "UPDATE event SET data = ? WHERE id = ?", change)


@pytest.fixture
def unplotted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Plots take most of the time, and a test of their own."""
    monkeypatch.setattr(page_room, "plots_of", lambda *_: [])
    monkeypatch.setattr(page_room, "trip_plot", lambda *_: None)


@pytest.fixture(params=["charge_path", "trip_path"])
def journal(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """Two to be changed: full and rested; tripped and reset."""
    return Path(shutil.copy(request.getfixturevalue(request.param), tmp_path / "journal.sqlite"))


odd = st.sampled_from(ODD)
few = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@few
@given(data=st.data())
@pytest.mark.usefixtures("unplotted")
def test_odd_settings_still_make_a_page(journal: Path, data: st.DataObject) -> None:
    original: list[Any] = []

    def change(recorded: Any) -> Any:
        original.append(recorded)
        where = data.draw(st.lists(st.sampled_from(list(paths(recorded))), min_size=1, max_size=6))
        for path in where:
            recorded = put(recorded, path, data.draw(odd))
        return recorded

    rewrite_settings(journal, change)
    page = session_page(record_of(journal), silent)
    rewrite_settings(journal, lambda _: original[0])
    assert "How good the record is" in page


KEYS = (
    "rule", "measured", "limit", "unit", "remedy", "was_closed", "outcome", "opened_in_s", "who",
    "reason", "stage", "cue", "urgency", "state", "front_v", "lag_v", "fall_v_per_h", "for_s",
    "profile", "by_doubt",
)  # fmt: skip


@few
@given(data=st.data())
@pytest.mark.usefixtures("unplotted")
def test_odd_numbers_of_events_still_make_a_page(journal: Path, data: st.DataObject) -> None:
    original: list[Any] = []

    def change(recorded: Any) -> Any:
        original.append(recorded)
        whole = data.draw(st.booleans() if data.draw(st.booleans()) else st.just(False))
        return data.draw(odd if whole else st.dictionaries(st.sampled_from(KEYS), odd, max_size=8))

    rewrite_events(journal, change)
    page = session_page(record_of(journal), silent)
    rewrite_events(journal, lambda _: original.pop(0))
    assert "How good the record is" in page


LIMITS = (
    "bank.never_above_volts", "protection.overvoltage.trip_volts", "charge.hold_volts",
    "protection.overcurrent.trip_amperes", "charge.rest.minutes", "bank.cell_ampere_hours",
)  # fmt: skip


@pytest.mark.parametrize("value", [float("nan"), -9e8, "3.6"])
def test_odd_limits_and_figures_can_be_plotted(journal: Path, value: object) -> None:
    def change(recorded: Any) -> Any:
        for path in LIMITS:
            recorded = put(recorded, tuple(path.split(".")), value)
        return recorded

    rewrite_settings(journal, change)
    rewrite_events(journal, lambda data: data | dict.fromkeys(("measured", "limit"), value))
    record = record_of(journal)
    assert "<svg" in session_page(record, silent)
    assert "<svg" in comparison_page([record, record], silent)


# --- the rows themselves: the columns of SQLite hold whatever was put there

CELLS: tuple[Any, ...] = (
    float("inf"), -float("inf"), 1e300, -1e18, 1e15, 1e11, 2**62, -5, "abc", "", b"\xff\xfe",
    "\ud800",
)  # fmt: skip
COLUMNS = {
    "session": ("mono_s", "wall_s", "bank", "cells", "profile", "ended_wall_s", "is_thinned"),
    "run": ("mono_s", "wall_s", "version", "bank"),
    "event": ("mono_s", "wall_s", "code", "text", "run"),
    "sample": ("wall_ms", "mono_ms", "front_v", "front_high_v", "far_low_v", "current_a", "good",
               "windows"),
    "progress": ("wall_ms", "mono_ms", "circuit", "stage", "charged_ah", "charged_u_ah",
                 "charged_wh", "is_whole", "zero_a"),
    "temperature": ("wall_ms", "mono_ms", "probe", "celsius"),
}  # fmt: skip


def odd_column(journal: Path, table: str, column: str, value: Any, *, newest_only: bool) -> None:
    """As no program of ours writes it."""
    shown = value.encode("utf-8", "surrogatepass") if isinstance(value, str) else value
    cell = "CAST(? AS TEXT)" if isinstance(value, str) else "?"
    key = "mono_ms" if table in ("sample", "progress", "temperature") else "id"
    where = f"WHERE {key} = (SELECT max({key}) FROM {table})" if newest_only else ""
    with closing(sqlite3.connect(journal)) as db, db:
        db.execute(f"UPDATE OR IGNORE {table} SET {column} = {cell} {where}", (shown,))


def report_of(journal: Path) -> str:
    """A page, or why there is none, in words."""
    try:
        return session_page(record_of(journal), silent)
    except (NoJournal, NothingToReport) as why:
        return str(why)


@pytest.mark.parametrize("table", COLUMNS)
@settings(few, max_examples=10)
@given(data=st.data())
@pytest.mark.usefixtures("unplotted")
def test_odd_cells_of_any_column_make_a_page_or_are_told(
    journal: Path, table: str, data: st.DataObject
) -> None:
    kept = journal.read_bytes()
    column = data.draw(st.sampled_from(COLUMNS[table]))
    value, newest_only = data.draw(st.sampled_from(CELLS)), data.draw(st.booleans())
    odd_column(journal, table, column, value, newest_only=newest_only)
    said = words(report_of(journal))
    journal.write_bytes(kept)
    assert "How good the record is" in said or "is damaged" in said or "has no samples" in said


@pytest.mark.parametrize("value", [float("inf"), -1e18])
@pytest.mark.parametrize(
    ("table", "column"), [("event", "mono_s"), ("sample", "front_high_v"), ("progress", "zero_a")]
)
@pytest.mark.usefixtures("unplotted")
def test_figures_that_cannot_be_are_left_out_and_told(
    journal: Path, table: str, column: str, value: float
) -> None:
    sound = words(session_page(record_of(journal), silent))
    odd_column(journal, table, column, value, newest_only=True)
    said = words(session_page(record_of(journal), silent))
    assert f"values that nobody can have written there, in {table}." in said
    assert "The journal's file is damaged" in said
    assert "is damaged" not in sound


DATA = (
    "{}", "[]", "null", "5", '{"profile": 5}', '{"profile": ["a"]}', "[" * 400 + "]" * 400,
    '{"rule": "\\ud800"}', '{"rule": {"a": {"b": [1]}}}', '{"rule": NaN}',
)  # fmt: skip


@pytest.mark.parametrize("text", DATA)
@pytest.mark.parametrize("code", ["trip", "finished", "session_goes_on", "closed", "cue", "rest"])
@pytest.mark.usefixtures("unplotted")
def test_odd_data_of_an_event_make_a_page_or_are_told(journal: Path, code: str, text: str) -> None:
    with closing(sqlite3.connect(journal)) as db, db:
        db.execute("UPDATE event SET data = ?, code = iif(id = 2, ?, code)", (text, code))
    assert report_of(journal)


def test_text_that_nothing_can_show_is_replaced_in_plots_too(journal: Path) -> None:
    with closing(sqlite3.connect(journal)) as db, db:
        db.execute('UPDATE event SET data = \'{"rule": "\\ud800", "limit": 3.6, "unit": "V"}\'')
    page = session_page(record_of(journal), silent)
    assert page.encode()
    assert "<svg" in page
