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

from supervisor.report import page as page_room
from supervisor.report.compare import comparison_page
from supervisor.report.page import session_page

ODD: tuple[Any, ...] = (
    None, True, 0, -1, 10**300, float("nan"), float("inf"), -float("inf"), 1e300, 5e-324, "", "3.6",
    "<b>", "a.b", [], [3.6], {}, {"a": 1}, {"": None}, [{}], {"a": {"b": [None]}},
)  # fmt: skip
Path_ = tuple[str, ...]


def silent(_text: str) -> None:
    """Nobody looks."""


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
