"""Values that nobody can have written: unknown, told of, and never in the way of the others."""

import json
import math
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from journals import WALL_S, closing, end, event, run, windows, written

from supervisor.cli.main import main
from supervisor.journal.reader import Reader
from supervisor.journal.records import Progress, Temperature
from supervisor.journal.schema import FILE_NAME, MINUTE_MS, SECOND_MS
from supervisor.journal.sound import TABLES, block

COLUMNS = [
    (table, column)
    for table, columns in TABLES.items()
    for column in columns
    if (table, column) not in {("run", "id"), ("session", "id"), ("event", "id")}
]
ODD = [
    math.inf, -math.inf, 1e300, -1e18, 1e15, "abc", "", b"\xff\xfe", 2**62, -5, 0, "\U0001f600",
    "[" * 3000, '{"profile": 5}', '{"rule": "\\ud800"}', '{"measured": NaN}', '{"measured": 1e999}',
]  # fmt: skip
COMMANDS: dict[str, list[str]] = {
    "sessions": ["sessions"],
    "json": ["sessions", "--json", "--since", "2020-01-01"],
    "csv": ["export", "1", "--output", "{out}"],
    "parquet": ["export", "2", "--format", "parquet", "--output", "{out}"],
}


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two sessions, each with all that there is, the second over two runs."""
    folder = tmp_path_factory.mktemp("original")
    written(folder, run(), *charge(0.0), end(3000.0), *charge(4000.0))
    return written(
        folder, run(5000.0), closing(5001.0, is_new=False), *windows(5001.0, 5005.0),
        event(5005.0, "opened"),
    )  # fmt: skip


def charge(at_s: float) -> Iterator[Any]:
    yield event(at_s, "closed")
    yield closing(at_s)
    yield from windows(at_s, at_s + 70.0)
    figures = (1.0, 0.1, 3.4, True, 0.1, 3.4, 0.001)
    yield Progress(at_s + 60.0, WALL_S + at_s + 60.0, "closed", "bulk", *figures)
    yield Temperature(at_s + 60.0, WALL_S + at_s + 60.0, "heat_sink", 41.0)
    yield event(at_s + 70.0, "trip", rule="overvoltage")


@pytest.fixture
def path(original: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(original, tmp_path / FILE_NAME))


def changed(path: Path, sql: str, *values: object) -> bool:
    """Whether SQLite takes it."""
    with sqlite3.connect(path) as db:
        try:
            db.execute(sql, values)
        except sqlite3.IntegrityError:
            return False
        finally:
            db.commit()
    db.close()
    return True


def asked(path: Path, name: str) -> Result:
    out = path.parent / "out"
    shutil.rmtree(out, ignore_errors=True)
    arguments = [argument.format(out=out) for argument in COMMANDS[name]]
    return CliRunner().invoke(main, [*arguments, "--journal", str(path)])


@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    where=st.sampled_from(COLUMNS),
    value=st.sampled_from(ODD)
    | st.floats(allow_nan=False)
    | st.integers(-(2**63), 2**63 - 1)
    | st.text(max_size=20)
    | st.binary(max_size=20),
    which=st.sampled_from(["1", "rowid = (SELECT max(rowid) FROM {table})", "run = 2"]),
)
def test_no_value_ends_a_command_by_a_traceback(
    original: Path, tmp_path: Path, where: tuple[str, str], value: object, which: str
) -> None:
    table, column = where
    if table in ("sample", "temperature", "progress", "settings") and "rowid" in which:
        which = "1"
    if table in ("settings", "run"):
        which = "1"
    path = Path(shutil.copy(original, tmp_path / FILE_NAME))
    changed(path, f"UPDATE {table} SET {column} = ? WHERE {which.format(table=table)}", value)
    for name in COMMANDS:
        result = asked(path, name)
        assert result.exception is None or isinstance(result.exception, SystemExit), name
        if result.exit_code:
            assert "holdwatch: " in result.stderr


Look = Callable[[Reader], Any]
READ: dict[tuple[str, object], tuple[Look, Any]] = {
    ("session.wall_s", math.inf): (lambda r: r.sessions()[0].began_wall_s, 0.0),
    ("session.ended_wall_s", "never"): (lambda r: r.sessions()[0].ended_wall_s, 0.0),
    ("session.cells", "many"): (lambda r: r.sessions()[0].cells, 0),
    ("session.bank", b"\xff"): (lambda r: r.sessions()[0].bank, "\ufffd"),
    ("session.is_simulated", "abc"): (lambda r: r.sessions()[0].is_simulated, True),
    ("session.run", "abc"): (lambda r: r.sessions()[0].version, ""),
    ("session.settings", b"ab"): (lambda r: r.sessions()[0].settings, {}),
    ("settings.text", "["): (lambda r: r.sessions()[0].settings, {}),
    ("run.mono_s", math.inf): (lambda r: r.runs()[-1].mono_s, 0.0),
    ("event.data", "{"): (lambda r: r.events(1)[-1].data, {}),
    ("event.data", b"\xff\x00"): (lambda r: r.events(1)[-1].data, {}),
    ("event.wall_s", -5.0): (lambda r: r.events(1)[0].wall_s, 0.0),
    ("event.text", b"ab"): (lambda r: r.events(1)[0].text, "ab"),
    ("event.run", "abc"): (lambda r: r.events(1), []),
    ("event.mono_s", math.inf): (lambda r: r.events(1), []),
    ("sample.wall_ms", "never"): (lambda r: next(r.samples(1, SECOND_MS)).wall_s, 0.0),
    ("sample.front_v", math.inf): (lambda r: next(r.samples(1, SECOND_MS)).front_v.mean, None),
    ("sample.current_a", "abc"): (lambda r: next(r.samples(1, MINUTE_MS)).current_a.mean, None),
    ("sample.good", 2**62): (lambda r: next(r.samples(1, MINUTE_MS)).good, 0),
    ("sample.windows", 0): (lambda r: next(r.samples(1, MINUTE_MS)).windows, 1),
    ("progress.is_whole", "abc"): (lambda r: r.progress(1)[0].is_whole, False),
    ("progress.charged_ah", 1e300): (lambda r: r.progress(1)[0].charged_ah, None),
    ("temperature.celsius", "warm"): (lambda r: r.temperatures(1)[0].celsius, None),
    ("temperature.probe", b"ab"): (lambda r: r.temperatures(1)[0].probe, "ab"),
}


@pytest.mark.parametrize(("where", "value"), READ)
def test_it_is_unknown_and_told(path: Path, where: str, value: object) -> None:
    look, unknown = READ[where, value]
    table, column = where.split(".")
    with Reader(path) as reader:
        assert look(reader) != unknown or where == "session.is_simulated"
        assert reader.damage() == ""
    assert changed(path, f"UPDATE {table} SET {column} = ?", value)
    with Reader(path) as reader:
        assert look(reader) == unknown
        assert "nobody can have written" in reader.damage()
        assert len(reader.sessions()) == 2, "the others are there"


@pytest.mark.parametrize("table", ["sample", "progress", "temperature"])
@pytest.mark.parametrize(("column", "value"), [("run", "abc"), ("run", 0), ("mono_ms", math.inf)])
def test_a_row_without_a_place_in_time_is_left_out(
    path: Path, table: str, column: str, value: object
) -> None:
    looks: dict[str, Look] = {
        "sample": lambda r: len(list(r.samples(1, SECOND_MS))),
        "progress": lambda r: len(r.progress(1)),
        "temperature": lambda r: len(r.temperatures(1)),
    }
    newest = f"SELECT max(mono_ms) FROM {table} WHERE session = 1"
    with Reader(path) as reader:
        before = looks[table](reader)
    where = f"session = 1 AND mono_ms = ({newest})"
    assert changed(path, f"UPDATE {table} SET {column} = ? WHERE {where}", value)
    with Reader(path) as reader:
        assert looks[table](reader) == before - 1
        assert f"{table}.run or time" in reader.damage()
        newest_s = [sample.mono_s for sample in reader.newest_samples(1, SECOND_MS, 5.0)]
    assert newest_s[-1] == pytest.approx(70.0, abs=1.1)


@pytest.mark.parametrize("code", ["trip", b"trip", "unseen_end"])
@pytest.mark.parametrize(
    ("column", "value"),
    [("run", "abc"), ("run", 77), ("mono_s", "abc"), ("mono_s", math.inf), ("wall_s", math.inf),
     ("text", b"\xff"), ("data", "{")],
)  # fmt: skip
def test_a_trip_counts_whatever_is_odd_about_it(
    path: Path, column: str, value: object, code: object
) -> None:
    where = "WHERE session = 1 AND code = 'trip'"
    assert changed(path, f"UPDATE event SET {column} = ?, code = ? {where}", value, code)
    with Reader(path) as reader:
        assert [session.trips for session in reader.sessions()] == [1, 1]
        assert f"event.{column}" in reader.damage() or "event.run or time" in reader.damage()
    result = CliRunner().invoke(main, ["sessions", "--tripped", "--journal", str(path)])
    assert "  1  2026-05-28 20:26 UTC" in result.stdout
    result = CliRunner().invoke(
        main, ["sessions", "--remove", "1", "--yes", "--journal", str(path)]
    )
    assert result.exit_code == 1
    assert "--with-trip" in result.stderr


@pytest.mark.parametrize("value", [99, "abc", b"\x01", 1.5])
@pytest.mark.parametrize(
    "where",
    ["event.session", "event.run", "sample.session", "sample.run", "progress.session",
     "progress.run", "temperature.session", "temperature.run", "session.run", "session.settings",
     "run.session", "run.settings"],
)  # fmt: skip
def test_what_belongs_to_nothing_is_told(path: Path, where: str, value: object) -> None:
    table, column = where.split(".")
    newest = {"sample": "mono_ms = (SELECT max(mono_ms) FROM sample) AND span_ms = 1000"}
    assert changed(path, f"UPDATE {table} SET {column} = ? WHERE {newest.get(table, '1')}", value)
    with Reader(path) as reader:
        assert where in reader.damage()


def test_one_sessions_date_hides_no_other(path: Path) -> None:
    assert changed(path, "UPDATE session SET wall_s = ? WHERE id = 2", math.inf)
    result = asked(path, "sessions")
    assert result.exit_code == 0
    assert "  1  2026-05-28 20:26 UTC" in result.stdout
    assert "  2  1970-01-01 00:00 UTC" in result.stdout
    assert "session.wall_s" in result.stderr
    assert "what to do: keep a copy of the file" in result.stderr


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ('{"a": "\\ud800"}', {"a": "?"}),
        ('{"\\ud800": 1}', {"?": 1}),
        ('{"a": "\\ud83d\\ude00"}', {"a": "\U0001f600"}),
        ('{"a": NaN, "b": -Infinity, "c": 1.5}', {"a": None, "b": None, "c": 1.5}),
        ('{"a": 1e999}', {"a": None}),
        ("[" * 100_000, {}), ("[]", {}), ("null", {}), ("5", {}), ('"a"', {}), ("", {}), ("{", {}),
        ("9" * 5000, {}),
    ],
)  # fmt: skip
def test_what_is_no_block_is_an_empty_one(text: str, found: dict[str, Any]) -> None:
    assert block(text) == found
    json.dumps(block(text), ensure_ascii=False, allow_nan=False).encode()


def test_the_views_change_nothing_and_cost_no_index(path: Path) -> None:
    """What is looked for is found by its key, through them as well."""
    before = path.read_bytes()
    with Reader(path) as reader:
        for sql in (
            "SELECT front_v FROM sample WHERE session = 1 AND span_ms = 1000"
            " AND (run, mono_ms) > (1, 5) ORDER BY run, mono_ms LIMIT 10",
            "SELECT mono_ms FROM sample WHERE session = 1 AND span_ms = 1000"
            " ORDER BY run DESC, mono_ms DESC LIMIT 1",
            "SELECT front_v FROM sample WHERE session = 1 AND span_ms = 1000 AND run = 1"
            " AND mono_ms > 60000 ORDER BY mono_ms",
            "SELECT charged_ah FROM progress WHERE session = 1 ORDER BY run, mono_ms",
            "SELECT count(*) FROM event e WHERE e.session = 1",
        ):
            plan = " ".join(row[3] for row in reader._db.execute(f"EXPLAIN QUERY PLAN {sql}"))
            assert "SEARCH" in plan, plan
            assert "TEMP B-TREE" not in plan, plan
    assert path.read_bytes() == before
