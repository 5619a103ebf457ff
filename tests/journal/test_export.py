"""What is exported is what the journal holds, value by value, and every column is described."""

import csv
import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from journals import WALL_S, closing, end, event, run, unseen_end, window, windows, written
from pyarrow import parquet

from supervisor.journal.export import PACKAGE_NAME, Write, export, iso, write_csv
from supervisor.journal.parquet import write_parquet
from supervisor.journal.reader import Reader
from supervisor.journal.records import UNKNOWN, Progress, Record, Span, Temperature

AWKWARD = (0.1, 1 / 3, 3.4567890123456789, -1e-12, 5e300, 49.99999999999999)
NUMBERS = {"number": float, "integer": int}
FORMULAS = ("=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx", "\nx", "＝1", "'=1", "''", "harmless")


def records() -> Iterator[Record]:
    yield from (run(), closing(0.0), *windows(0.0, 60.0))
    for k, value in enumerate(AWKWARD):
        yield window(60.05 + k, volts=value, amperes=value)
        estimates = (value, None, -value, k % 2 == 0, None, value, None)
        yield Progress(60.05 + k, WALL_S + k, "closed", "bulk", *estimates)
        yield Temperature(60.05 + k, WALL_S + k, 'a "probe",\nof two lines', value if k else None)
    yield window(70.0, front_v=UNKNOWN, far_v=UNKNOWN, current_a=Span(1.5, None, None))
    when = datetime(2026, 7, 1, 2, 3, 4, 567891, UTC).timestamp()
    yield event(71.0, "cue", reason="schön, 5 °C", n=1 / 3)._replace(wall_s=when)
    for text in FORMULAS:
        yield event(71.5, "reset", is_close=False, reason=text)._replace(text=text)
        yield Temperature(71.5, WALL_S + 71.5, text, -1.0)
    yield window(72.0)
    yield run(100.0)
    yield closing(100.0, is_new=False)
    yield from windows(100.0, 130.0)


@pytest.fixture
def reader(tmp_path: Path) -> Iterator[Reader]:
    with Reader(written(tmp_path, *records())) as one:
        yield one


def exported(reader: Reader, folder: Path, kind: str, write: Write, span_ms: int = 1000) -> Any:
    """The package, once the files lie in the folder."""
    folder.mkdir()
    (session,) = reader.sessions()
    export(reader, session, folder, span_ms=span_ms, kind=kind, write=write)
    return json.loads((folder / PACKAGE_NAME).read_text("utf-8"))


def in_journal(reader: Reader, span_ms: int) -> dict[str, list[tuple[Any, ...]]]:
    """Straight from the reader, flat, the time put first as in every table."""

    def common(row: Any) -> tuple[Any, ...]:
        return row.wall_s, row.run, row.mono_s

    return {
        "samples": [
            (*common(s), s.span_s, *s.front_v, *s.far_v, *s.current_a, s.good, s.windows, True)
            for s in reader.samples(1, span_ms)
        ],
        "events": [(*common(e), e.id, e.code, e.text, e.data, True) for e in reader.events(1)],
        "progress": [(*common(p), *p[3:], True) for p in reader.progress(1)],
        "temperatures": [(*common(t), *t[3:], True) for t in reader.temperatures(1)],
    }


def from_csv(folder: Path, resource: Any) -> list[tuple[Any, ...]]:
    """By nothing but what the package says of it."""
    fields = resource["schema"]["fields"]
    with (folder / resource["path"]).open(encoding="utf-8", newline="") as file:
        head, *rows = csv.reader(file)
    assert head == [field["name"] for field in fields]
    return [tuple(_value(f, text) for f, text in zip(fields, row, strict=True)) for row in rows]


def _value(field: Any, text: str) -> Any:
    if text == "":
        return None
    if field["type"] == "boolean":
        return {"true": True, "false": False}[text]
    if field["type"] == "datetime":
        return datetime.fromisoformat(text).timestamp()
    if field["name"] == "data":
        return json.loads(text)
    if field["type"] == "string" and text.startswith("'"):
        return text[1:]  # as the package's description says
    return NUMBERS.get(field["type"], str)(text)


@pytest.mark.parametrize("span_ms", [100, 1000, 60_000])
def test_csv_holds_exactly_what_the_journal_holds(
    reader: Reader, tmp_path: Path, span_ms: int
) -> None:
    package = exported(reader, tmp_path / "out", "csv", write_csv, span_ms)
    expected = in_journal(reader, span_ms)
    assert [r["name"] for r in package["resources"]] == list(expected)
    for resource in package["resources"]:
        found = from_csv(tmp_path / "out", resource)
        assert found == expected[resource["name"]], resource["name"]
    assert len(expected["samples"]) == {100: 209, 1000: 98, 60_000: 3}[span_ms]


def test_no_text_in_a_csv_is_a_formula_and_no_number_is_touched(
    reader: Reader, tmp_path: Path
) -> None:
    """OWASP, "CSV Injection": what begins with = + - @, tab, carriage return or line feed."""
    package = exported(reader, tmp_path / "out", "csv", write_csv)
    assert "apostrophe" in package["description"]
    negative = 0
    for resource in package["resources"]:
        types = [field["type"] for field in resource["schema"]["fields"]]
        with (tmp_path / "out" / resource["path"]).open(encoding="utf-8", newline="") as file:
            for row in list(csv.reader(file))[1:]:
                for kind, text in zip(types, row, strict=True):
                    if kind == "string":
                        assert not text.startswith(tuple("=+-@\t\r\n＝＋－＠")), text
                    elif kind == "number":
                        assert not text.startswith("'")
                        negative += text.startswith("-")
    assert negative


def test_in_parquet_a_text_is_as_it_was(reader: Reader, tmp_path: Path) -> None:
    package = exported(reader, tmp_path / "out", "parquet", write_parquet)
    assert "apostrophe" not in package["description"]


def test_parquet_holds_exactly_what_the_journal_holds(reader: Reader, tmp_path: Path) -> None:

    package = exported(reader, tmp_path / "out", "parquet", write_parquet)
    expected = in_journal(reader, 1000)
    for resource in package["resources"]:
        fields = resource["schema"]["fields"]
        table = parquet.read_table(tmp_path / "out" / resource["path"])
        assert table.column_names == [field["name"] for field in fields]
        assert table.schema.metadata[b"simulated"] == b"true"
        for field, column in zip(fields, table.schema, strict=True):
            assert column.metadata[b"unit"].decode() == field.get("unit", "")
            assert column.metadata[b"description"].decode() == field["description"]
        rows = zip(*(column.to_pylist() for column in table.columns), strict=True)
        found = [tuple(map(_plain, fields, row)) for row in rows]
        assert found == expected[resource["name"]], resource["name"]


def _plain(field: Any, value: Any) -> Any:
    if isinstance(value, datetime):
        return value.timestamp()
    return json.loads(value) if field["name"] == "data" else value


def test_every_column_has_a_type_a_description_and_its_unit_twice(
    reader: Reader, tmp_path: Path
) -> None:
    symbols = {
        "seconds": "s", "volts": "V", "amperes": "A", "ampere_hours": "A.h", "watt_hours": "W.h",
        "ohms": "Ohm", "degrees_celsius": "Cel",
    }  # fmt: skip
    for resource in exported(reader, tmp_path / "out", "csv", write_csv)["resources"]:
        for field in resource["schema"]["fields"]:
            assert field["type"] in {"datetime", "integer", "number", "string", "boolean"}
            assert field["description"]
            named = [u for name, u in symbols.items() if field["name"].endswith(f"_{name}")]
            assert field.get("unit") in (named or [None]), field["name"]
            assert bool(named) == (field["type"] == "number"), field["name"]


def test_the_package_names_what_lies_there_and_marks_a_simulation(
    reader: Reader, tmp_path: Path
) -> None:
    package = exported(reader, tmp_path / "out", "csv", write_csv)
    assert "licenses" not in package
    assert re.fullmatch(r"[a-z0-9._-]+", package["name"])
    assert package["simulated"] is True
    assert "SIMULATED" in package["title"]
    assert package["description"].startswith("SIMULATED")
    assert package["settings"] == {"a": 1}
    assert package["began_utc"] == "2026-05-28T20:26:40.000Z"
    named = {resource["path"] for resource in package["resources"]}
    assert named | {PACKAGE_NAME} == {path.name for path in (tmp_path / "out").iterdir()}
    assert all("SIMULATED" in name for name in named)
    for resource in package["resources"]:
        content = (tmp_path / "out" / resource["path"]).read_bytes()
        assert resource["bytes"] == len(content)
        assert resource["hash"] == f"sha256:{sha256(content).hexdigest()}"


@pytest.mark.parametrize(
    ("told", "last_s"),
    [
        ([event(20.0, "finished"), event(25.0, "ended")], 20.0),
        ([event(20.0, "paused"), event(25.0, "resumed"), event(30.0, "trip")], 30.0),
        ([event(20.0, "paused"), event(25.0, "finished")], 20.0),
        ([event(20.0, "opened"), event(25.0, "trip", was_closed=False)], 20.0),
        ([event(20.0, "opened"), run(500.0), event(510.0, "trip")], 20.0),
        ([run(500.0), unseen_end(501.0)], 15.0),
        ([], 15.0),
    ],
)
def test_until_when_it_was_closed_is_told_though_it_has_not_ended(
    tmp_path: Path, told: list[Record], last_s: float
) -> None:
    path = written(
        tmp_path, run(), event(9.9, "closed"), closing(10.0), *windows(10.0, 15.0), *told
    )
    with Reader(path) as reader:
        package = exported(reader, tmp_path / "out", "csv", write_csv)
    assert package["ended_utc"] is None
    when = datetime.fromisoformat(package["last_closed_utc"]).timestamp()
    assert when == pytest.approx(WALL_S + last_s)


def test_where_the_closing_was_lost_its_progress_tells(tmp_path: Path) -> None:
    figures = (1.0, None, None, True, None, None, None)
    path = written(
        tmp_path, run(), closing(10.0), Progress(60.0, WALL_S + 60, "closed", "bulk", *figures),
        Progress(120.0, WALL_S + 120, "open", "bulk", *figures), end(9000.0),
    )  # fmt: skip
    with Reader(path) as reader:
        package = exported(reader, tmp_path / "out", "csv", write_csv)
    assert package["last_closed_utc"] == iso(datetime.fromtimestamp(WALL_S + 60, UTC))
    assert package["ended_utc"] == iso(datetime.fromtimestamp(WALL_S + 9000, UTC))


def test_a_real_session_is_not_marked_as_simulated(tmp_path: Path) -> None:
    path = written(tmp_path, run(is_simulated=False), closing(0.0), *windows(0.0, 5.0))
    with Reader(path) as reader:
        package = exported(reader, tmp_path / "out", "csv", write_csv)
    assert package["simulated"] is False
    assert "SIMULATED" not in json.dumps(package)
    rows = from_csv(tmp_path / "out", package["resources"][0])
    assert {row[-1] for row in rows} == {False}


@pytest.mark.parametrize(
    ("when", "text"),
    [
        (datetime(1970, 1, 1, tzinfo=UTC), "1970-01-01T00:00:00.000Z"),
        (datetime(2026, 2, 28, 23, 59, 59, 999000, UTC), "2026-02-28T23:59:59.999Z"),
        (datetime(2226, 1, 1, 0, 0, 0, 1, UTC), "2226-01-01T00:00:00.000001Z"),
    ],
)
def test_times_are_iso_8601_in_utc(when: datetime, text: str) -> None:
    assert iso(when) == text
