"""What a session's tables hold once they leave the journal: every column, its unit, its meaning.

Times are ISO 8601 in UTC. Units are in the names, and again as symbols beside them.
"""

import json
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from typing import NamedTuple

from supervisor.journal.reader import EventRow, ProgressRow, Reader, Sample, TemperatureRow
from supervisor.journal.records import Span

Cell = float | int | str | bool | datetime | None


class Column(NamedTuple):
    """``type`` as a Data Package's table schema has it."""

    name: str
    type: str
    unit: str
    description: str


class Table(NamedTuple):
    name: str
    description: str
    columns: tuple[Column, ...]
    rows: Callable[[Reader, int, int], Iterator[tuple[Cell, ...]]]  # of session and span, in ms


COMMON = (
    Column("utc", "datetime", "", "When, by the wall clock, which may be stepped"),
    Column("run", "integer", "", "Life of the daemon; each has a monotonic clock of its own"),
    Column("monotonic_seconds", "number", "s", "When, by the clock that is never stepped"),
)


def _measured(name: str, unit_name: str, unit: str, what: str) -> tuple[Column, ...]:
    return (
        Column(f"{name}_{unit_name}", "number", unit, f"{what}, mean; empty: not told"),
        Column(f"{name}_lowest_{unit_name}", "number", unit, f"{what}, lowest single value"),
        Column(f"{name}_highest_{unit_name}", "number", unit, f"{what}, highest single value"),
    )


SAMPLES = (
    *COMMON,
    Column("span_seconds", "number", "s", "Span of time the row is over; the times are its end"),
    *_measured("front_cell", "volts", "V", "Voltage of the front cell"),
    *_measured("far_cell", "volts", "V", "Voltage of the far cell"),
    *_measured("current", "amperes", "A", "Current, positive into the bank"),
    Column("good_windows", "integer", "", "Windows in which every fitted channel was told"),
    Column("windows", "integer", "", "Windows the row is over"),
)
EVENTS = (
    *COMMON,
    Column("event", "integer", "", "Number of the event in the journal"),
    Column("code", "string", "", "What happened; stable from version to version"),
    Column("text", "string", "", "The same for people"),
    Column("data", "string", "", "The numbers behind it, a JSON object; units in its names"),
)
PROGRESS = (
    *COMMON,
    Column("circuit", "string", "", "State of the circuit"),
    Column("stage", "string", "", "Stage of the charge"),
    Column("charged_ampere_hours", "number", "A.h", "Charge since the session began"),
    Column("charged_uncertainty_ampere_hours", "number", "A.h", "Its expanded uncertainty (k = 2)"),
    Column("charged_watt_hours", "number", "W.h", "Energy since the session began"),
    Column("whole", "boolean", "", "false: some of the charge could not be counted"),
    Column(
        "zero_amperes", "number", "A", "Shown by the shunt before closing; taken out of the charge"
    ),
    Column("at_rest_volts", "number", "V", "Cell voltage without current, as estimated"),
    Column("resistance_ohms", "number", "Ohm", "Resistance of cell and leads, as estimated"),
)
TEMPERATURES = (
    *COMMON,
    Column("probe", "string", "", "Name of the probe in the settings"),
    Column("temperature_degrees_celsius", "number", "Cel", "Empty: not told"),
)


def utc(wall_s: float) -> datetime:
    return datetime.fromtimestamp(wall_s, UTC)


def _common(row: Sample | EventRow | ProgressRow | TemperatureRow) -> tuple[Cell, ...]:
    return utc(row.wall_s), row.run, row.mono_s


def _flat(spans: Iterable[Span]) -> Iterator[Cell]:
    for span in spans:
        yield from span


def _samples(reader: Reader, session: int, span_ms: int) -> Iterator[tuple[Cell, ...]]:
    for row in reader.samples(session, span_ms):
        spans = _flat((row.front_v, row.far_v, row.current_a))
        yield *_common(row), row.span_s, *spans, row.good, row.windows


def _events(reader: Reader, session: int, _: int) -> Iterator[tuple[Cell, ...]]:
    for row in reader.events(session):
        data = json.dumps(row.data, ensure_ascii=False)
        yield *_common(row), row.id, row.code, row.text, data


def _progress(reader: Reader, session: int, _: int) -> Iterator[tuple[Cell, ...]]:
    return ((*_common(row), *row[3:]) for row in reader.progress(session))


def _temperatures(reader: Reader, session: int, _: int) -> Iterator[tuple[Cell, ...]]:
    return ((*_common(row), *row[3:]) for row in reader.temperatures(session))


SIMULATED = Column("simulated", "boolean", "", "true: no real bank, the numbers are a simulator's")
TABLES = tuple(
    Table(name, description, (*columns, SIMULATED), rows)
    for name, description, columns, rows in (
        ("samples", "Voltages and current", SAMPLES, _samples),
        ("events", "What happened", EVENTS, _events),
        ("progress", "How far the charge was, once a minute", PROGRESS, _progress),
        ("temperatures", "Of every probe, every ten seconds", TEMPERATURES, _temperatures),
    )
)
