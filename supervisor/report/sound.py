"""Values from a record, as far as they can be believed: another version, or a fault, may have
written them. What the journal's reader hands over passes here once, before anything is reckoned.
"""

import re
from collections.abc import Mapping
from functools import cache
from math import nan
from types import UnionType
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

Row = TypeVar("Row")
LARGEST = 1e9  # of any number that is measured, set or reckoned here
LATEST_S = 2.5e11  # of a date: the year 9892
DEEPEST = 20  # blocks within blocks
UNSHOWABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


def finite(value: object) -> float | None:
    """A number that can be reckoned with; None for anything else, a flag included."""
    return within(value, LARGEST)


def within(value: object, largest: float) -> float | None:
    """A number, and none that is larger, either way."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if abs(value) <= largest else None


def block(value: object) -> dict[str, Any]:
    """A block of keys; an empty one where something else stands."""
    return dict(value) if isinstance(value, Mapping) else {}


def text(value: object) -> str:
    """Text as it is; nothing where something else stands."""
    return value if isinstance(value, str) else ""


def showable(value: str) -> str:
    """What neither a page nor a plot can show is replaced."""
    return UNSHOWABLE.sub("\N{REPLACEMENT CHARACTER}", value)


def sound_row(row: Row) -> Row:
    """Of a row of the reader, each field as its type says; what is none of it becomes nan, nothing,
    or None where that may be."""
    kind: Any = type(row)
    fields = _hints(kind).items()
    sound: Row = kind(**{name: _sound(getattr(row, name), name, hint) for name, hint in fields})
    return sound


@cache
def _hints(kind: type[Any]) -> dict[str, Any]:
    return get_type_hints(kind)


def _sound(value: object, name: str, hint: Any) -> Any:
    kinds = get_args(hint) if isinstance(hint, UnionType) else (hint,)
    kind = kinds[0]
    if get_origin(kind) is dict:
        return {showable(str(key)): _nested(part, 1) for key, part in block(value).items()}
    if get_origin(kind) is tuple:
        return tuple(showable(text(part)) for part in value) if isinstance(value, tuple) else ()
    if kind is str:
        return showable(text(value))
    if kind is bool:
        return value is True
    number = within(value, LATEST_S if name.endswith("wall_s") else LARGEST)
    if number is None:
        return None if type(None) in kinds else nan if kind is float else 0
    return kind(number)


def _nested(value: object, depth: int) -> Any:
    """Flags and numbers as they are: ``finite`` judges them where they are used."""
    if isinstance(value, str):
        return showable(value)
    if depth > DEEPEST:
        return None
    if isinstance(value, Mapping):
        return {showable(str(key)): _nested(part, depth + 1) for key, part in value.items()}
    if isinstance(value, list):
        return [_nested(part, depth + 1) for part in value]
    return value
