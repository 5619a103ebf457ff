"""A session as files for any program: its tables, and a Data Package that describes them.

https://datapackage.org: datapackage.json names each file, and each column with its type; ``unit``
is a UCUM symbol. The values are the journal's own; but in CSV an apostrophe goes before a text that
a spreadsheet would take for a formula (OWASP, "CSV Injection").
"""

import csv
import json
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from supervisor.journal.closings import last_closed_wall_s
from supervisor.journal.columns import TABLES, Cell, Column, Table, utc
from supervisor.journal.reader import Reader, Session

PACKAGE_NAME = "datapackage.json"
PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
MEDIA = {"csv": "text/csv", "parquet": "application/vnd.apache.parquet"}
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # as OWASP lists them
APOSTROPHE = "'"

Write = Callable[[Path, Table, Iterable[tuple[Cell, ...]], dict[str, str]], int]


def base_name(session: Session) -> str:
    return f"holdwatch-session-{session.id}{'-SIMULATED' if session.is_simulated else ''}"


def file_names(session: Session, span_ms: int, kind: str) -> dict[str, str]:
    """By table."""
    names = {table.name: f"{base_name(session)}-{table.name}.{kind}" for table in TABLES}
    names["samples"] = f"{base_name(session)}-samples-{span_ms / 1000:g}s.{kind}"
    return names


def export(
    reader: Reader, session: Session, folder: Path, *, span_ms: int, kind: str, write: Write
) -> dict[str, int]:
    """Into a folder that is there; rows by file, the package's own aside. Raises OSError."""
    about = {"title": title(session), "simulated": str(session.is_simulated).lower()}
    counts, resources = {}, []
    names = file_names(session, span_ms, kind)
    for table in TABLES:
        path = folder / names[table.name]
        rows = table.rows(reader, session.id, span_ms)
        marked = ((*row, session.is_simulated) for row in rows)
        counts[path.name] = write(path, table, marked, about)
        resources.append(_resource(table, path, kind))
    closed_s = last_closed_wall_s(reader, session.id)
    package = _package(session, closed_s, kind) | {"resources": resources}
    text = json.dumps(package, indent=2, ensure_ascii=False)
    (folder / PACKAGE_NAME).write_text(f"{text}\n", encoding="utf-8")
    return counts


def title(session: Session) -> str:
    simulated = " (SIMULATED: no real bank)" if session.is_simulated else ""
    return f"{session.bank}, session {session.id}{simulated}"


# --- CSV


def write_csv(
    path: Path, table: Table, rows: Iterable[tuple[Cell, ...]], _about: dict[str, str]
) -> int:
    """How many rows. RFC 4180; what is missing is empty."""
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(column.name for column in table.columns)
        for row in rows:
            writer.writerow(map(_text, row))
            count += 1
    return count


def _text(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return str(cell).lower()
    if isinstance(cell, datetime):
        return iso(cell)
    return _harmless(cell) if isinstance(cell, str) else repr(cell)


def _harmless(text: str) -> str:
    """No formula to any spreadsheet. One that begins with an apostrophe gets another one, so that
    the first one can always be taken away again."""
    return f"{APOSTROPHE}{text}" if text.startswith((*FORMULA, APOSTROPHE)) else text


def iso(when: datetime) -> str:
    """Not finer than it was recorded."""
    is_fine = when.microsecond % 1000 != 0
    text = when.isoformat(timespec="microseconds" if is_fine else "milliseconds")
    return text.replace("+00:00", "Z")


# --- the package


def _package(session: Session, closed_s: float | None, kind: str) -> dict[str, Any]:
    return {
        "$schema": PROFILE,
        "name": base_name(session).lower(),
        "title": title(session),
        "description": _description(session, kind),
        "created": iso(datetime.now(UTC).replace(microsecond=0)),
        "simulated": session.is_simulated,
        "session": session.id,
        "bank": session.bank,
        "cells_in_parallel": session.cells,
        "charge_profiles": session.profiles,
        "began_utc": _iso_of(session.began_wall_s),
        "last_closed_utc": _iso_of(closed_s),
        "ended_utc": _iso_of(session.ended_wall_s),
        "recorded_by": f"holdwatch {session.version}",
        "settings": session.settings,
    }


def _iso_of(wall_s: float | None) -> str | None:
    return None if wall_s is None else iso(utc(wall_s))


def _description(session: Session, kind: str) -> str:
    simulated = "SIMULATED, no real bank was charged. " if session.is_simulated else ""
    profiles = ", ".join(session.profiles)
    apostrophes = (
        " A text that a spreadsheet would take for a formula, or that begins with an apostrophe, "
        "has an apostrophe put before it: take that one away. Numbers are as they are."
        if kind == "csv"
        else ""
    )
    return (
        f"{simulated}Record of one charge of {session.cells} lithium cells in parallel; profiles: "
        f"{profiles}. Times are UTC; those of one run follow one another by monotonic_seconds. "
        "The unit of every column is in its name. last_closed_utc is until when the circuit was "
        "closed, as far as recorded; ended_utc is when the session was over, empty while it may go "
        f"on.{apostrophes}"
    )


def _resource(table: Table, path: Path, kind: str) -> dict[str, Any]:
    content = path.stat().st_size
    with path.open("rb") as file:
        digest = sha256()
        while some := file.read(1 << 20):
            digest.update(some)
    return {
        "name": table.name,
        "path": path.name,
        "type": "table",
        "description": table.description,
        "format": kind,
        "mediatype": MEDIA[kind],
        "encoding": "utf-8",
        "bytes": content,
        "hash": f"sha256:{digest.hexdigest()}",
        "schema": {"fields": list(_fields(table.columns)), "missingValues": [""]},
    }


def _fields(columns: Iterable[Column]) -> Iterator[dict[str, str]]:
    for column in columns:
        unit = {"unit": column.unit} if column.unit else {}
        yield {
            "name": column.name,
            "type": column.type,
            **unit,
            "description": column.description,
        }
