"""Values from a record, as far as they can be believed: another version may have written them."""

from collections.abc import Mapping
from typing import Any

LARGEST = 1e9  # of any number that is measured, set or reckoned here


def finite(value: object) -> float | None:
    """A number that can be reckoned with; None for anything else, a flag included."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if -LARGEST <= value <= LARGEST else None  # false for nan


def block(value: object) -> dict[str, Any]:
    """A block of keys; an empty one where something else stands."""
    return dict(value) if isinstance(value, Mapping) else {}


def text(value: object) -> str:
    """Text as it is; nothing where something else stands."""
    return value if isinstance(value, str) else ""
