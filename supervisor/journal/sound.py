"""What a journal's file holds, as far as this program can have written it.

SQLite keeps any value in any column, so a damaged file, or one that was changed by hand, may hold
what no reader is ready for. ``views`` stand before the tables, by their names: what is odd there is
unknown, a date that is none is 1970-01-01; and a row whose run or monotonic time is odd has no
place in the order of things, and is left out. ``odd`` finds what the views hide.
"""

import json
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from math import isfinite
from typing import Any, NamedTuple

LARGEST = 1e9  # of any number that is measured or reckoned, and of any monotonic second
LATEST_WALL_S = 1e11  # in the year 5138


class Sound(NamedTuple):
    """Of a column, in SQL: what is read of it, and whether that is all of it."""

    read: str
    is_sound: str


Kind = Callable[[str], Sound]


def _between(column: str, least: float, most: float) -> str:
    return f"{column} BETWEEN {least:.0f} AND {most:.0f}"


def _key(column: str) -> Sound:
    return Sound(column, "1")


def _number(column: str) -> Sound:
    is_sound = _between(column, -LARGEST, LARGEST)
    return Sound(f"CASE WHEN {is_sound} THEN {column} END", f"({column} IS NULL OR {is_sound})")


def _mono_s(column: str) -> Sound:
    is_sound = _between(column, -LARGEST, LARGEST)
    return Sound(f"CASE WHEN {is_sound} THEN {column} ELSE 0 END", is_sound)


def _wall_s(column: str, scale: int = 1) -> Sound:
    is_sound = _between(column, 0, LATEST_WALL_S * scale)
    return Sound(f"CASE WHEN {is_sound} THEN {column} ELSE 0 END", is_sound)


def _wall_ms(column: str) -> Sound:
    return _wall_s(column, 1000)


def _wall_s_or_none(column: str) -> Sound:
    read, is_sound = _wall_s(column)
    is_none = f"{column} IS NULL"
    return Sound(f"CASE WHEN {is_none} THEN NULL ELSE {read} END", f"({is_none} OR {is_sound})")


def _count(column: str, least: int = 0) -> Sound:
    is_sound = f"(typeof({column}) = 'integer' AND {_between(column, least, LARGEST)})"
    return Sound(f"CASE WHEN {is_sound} THEN {column} ELSE {least} END", is_sound)


def _count_from_one(column: str) -> Sound:
    return _count(column, 1)


def _text(column: str) -> Sound:
    return Sound(f"coalesce(CAST({column} AS TEXT), '')", f"typeof({column}) = 'text'")


def _flag(column: str) -> Sound:
    """False when it is odd."""
    return Sound(f"({column} IS 1)", f"{column} IN (0, 1)")


def _is_simulated(column: str) -> Sound:
    """What may be no real bank's is not taken for one."""
    return Sound(f"({column} IS NOT 0)", f"{column} IN (0, 1)")


def _columns(**kinds: Kind) -> dict[str, Sound]:
    return {name: kind(name) for name, kind in kinds.items()}


OF_SESSION = _columns(session=_key, run=_key, mono_ms=_key, wall_ms=_wall_ms)
TABLES: Mapping[str, Mapping[str, Sound]] = {
    "settings": _columns(sha256=_key, text=_text),
    "run": _columns(
        id=_key, mono_s=_mono_s, wall_s=_wall_s, version=_text, bank=_text,
        is_simulated=_is_simulated,
    ),
    "session": _columns(
        id=_key, run=_count, wall_s=_wall_s, bank=_text, cells=_count, profile=_text,
        is_simulated=_is_simulated, settings=_text, ended_wall_s=_wall_s_or_none, is_thinned=_flag,
    ),
    "sample": OF_SESSION | _columns(
        span_ms=_key, front_v=_number, front_low_v=_number, front_high_v=_number, far_v=_number,
        far_low_v=_number, far_high_v=_number, current_a=_number, current_low_a=_number,
        current_high_a=_number, good=_count, windows=_count_from_one,
    ),
    "temperature": OF_SESSION | _columns(probe=_text, celsius=_number),
    "progress": OF_SESSION | _columns(
        circuit=_text, stage=_text, charged_ah=_number, charged_u_ah=_number, charged_wh=_number,
        is_whole=_flag, zero_a=_number, at_rest_v=_number, resistance_ohm=_number,
    ),
    "event": _columns(
        id=_key, session=_key, run=_key, mono_s=_key, wall_s=_wall_s, code=_text, text=_text,
        data=_text,
    ),
}  # fmt: skip
# The sign: looked up by what is asked for, not by this.
HAS_RUN = f"typeof(run) = 'integer' AND {_between('+run', 1, LARGEST)}"
HAS_PLACE: Mapping[str, str] = {
    "event": f"{HAS_RUN} AND {_between('+mono_s', -LARGEST, LARGEST)}",
    **dict.fromkeys(
        ("sample", "temperature", "progress"),
        f"{HAS_RUN} AND {_between('+mono_ms', -LARGEST * 1000, LARGEST * 1000)}",
    ),
}
BLOCKS = (("settings", "text"), ("event", "data"))
# Where rows name a session, a run or settings that are not there.
OF_NOTHING = """
    SELECT DISTINCT c."table", l."from" FROM pragma_foreign_key_check AS c
    JOIN pragma_foreign_key_list(c."table", 'main') AS l ON l.id = c.fkid
"""


def views() -> str:
    """SQL. They are of one connection only, and nowhere on disk."""
    return "".join(
        f"CREATE TEMP VIEW {table} AS SELECT"
        f" {', '.join(f'{column.read} AS {name}' for name, column in columns.items())}"
        f" FROM main.{table} WHERE {HAS_PLACE.get(table, '1')};"
        for table, columns in TABLES.items()
    )


def odd(db: sqlite3.Connection) -> Iterator[str]:
    """Where there are such values, in words. Reads all of the file."""
    for table, columns in TABLES.items():
        asked = {name: column.is_sound for name, column in columns.items()}
        asked |= {"run or time": HAS_PLACE[table]} if table in HAS_PLACE else {}
        flags = ", ".join(f"coalesce(max(NOT ({is_sound})), 0)" for is_sound in asked.values())
        found = db.execute(f"SELECT {flags} FROM main.{table}").fetchone()
        yield from (f"{table}.{name}" for name, is_odd in zip(asked, found, strict=True) if is_odd)
    yield from (f"{table}.{name}" for table, name in db.execute(OF_NOTHING))
    for table, name in BLOCKS:
        texts = db.execute(f"SELECT {name} FROM {table}").fetchall()
        if any(_parsed(text) is None for (text,) in texts):
            yield f"{table}.{name}"


def block(text: str) -> dict[str, Any]:
    """Of a JSON object; an empty one where there is none."""
    return _parsed(text) or {}


def _parsed(text: str) -> dict[str, Any] | None:
    try:
        found = json.loads(text, parse_float=_finite, parse_constant=lambda _: None)
        if "\\ud" in text.lower():  # half a character perhaps, which no file takes
            whole = json.dumps(found, ensure_ascii=False).encode("utf-8", "replace")
            found = json.loads(whole)
    except (TypeError, ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def _finite(text: str) -> float | None:
    value = float(text)
    return value if isfinite(value) else None
