"""What a settings model refuses, in our words and with the line of the file."""

import difflib
import re
from collections.abc import Callable, Iterator, Mapping
from math import isfinite
from typing import Any

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from supervisor.settings.document import Document, KeyPath, dotted
from supervisor.settings.expected import Spot, locate, named, shown
from supervisor.settings.faults import Fault

NOT_APPLIED = "A setting with a wrong name would silently not hold."
_NO_DEFAULT = "It has no value of its own that would be right for every build."


def schema_faults(
    model: type[BaseModel], document: Document, base: KeyPath, errors: list[ErrorDetails]
) -> list[Fault]:
    """One fault for each error in a part of the document that could be read."""
    spots = [(error, locate(model, error["loc"])) for error in errors]
    meant = {
        (*spot.path[:-1], near)
        for error, spot in spots
        if error["type"] == "extra_forbidden" and (near := nearest(spot))
    }
    faults: dict[KeyPath, Fault] = {}
    for error, spot in spots:
        path = (*base, *spot.path)
        if _already_told(document, path, error) or path in faults:
            continue
        if error["type"] == "missing" and spot.path in meant:
            continue  # it is there, misspelt: the unknown key says so
        faults[path] = document.fault(path, *_words(model, spot, error))
    return list(faults.values())


def _already_told(document: Document, path: KeyPath, error: ErrorDetails) -> bool:
    """Whether the value was refused while reading, or a tag that decides on its block was."""
    if any(path[: len(refused)] == refused for refused in document.refused):
        return True
    return error["type"].startswith("union_tag") and any(
        refused[:-1] == path for refused in document.refused
    )


def _words(model: type[BaseModel], spot: Spot, error: ErrorDetails) -> tuple[str, str, str]:
    """Problem, why, remedy."""
    kind, given, context = error["type"], error["input"], error.get("ctx", {})
    if kind == "missing":
        return _missing(spot)
    if kind == "extra_forbidden":
        return _unknown(model, spot)
    if kind.startswith("union_tag"):
        return _wrong_kind(spot, given, context)
    if kind in ("value_error", "assertion_error"):  # a model's own check, in its own words
        return f"{context['error']}", _why(spot), f"Correct {dotted(spot.path) or 'it'}."
    return _MISFITS.get(kind, _wrong_type)(spot, given)


def _missing(spot: Spot) -> tuple[str, str, str]:
    if isinstance(spot.key, int):
        return _wrong_length(spot.parent or spot, None)
    where = f"in the block {dotted(spot.path[:-1])}" if spot.path[:-1] else "in this file"
    return (
        f"{spot.key} is missing {where}.",
        _why(spot, _NO_DEFAULT),
        f"Add `{spot.key}:` {where}. It is {spot.expected()}.",
    )


def _unknown(model: type[BaseModel], spot: Spot) -> tuple[str, str, str]:
    where = f"in {dotted(spot.path[:-1])}" if spot.path[:-1] else "at the top of the file"
    problem = f"There is no setting {spot.key} {where}."
    names = ", ".join(spot.sibling_names)
    if near := nearest(spot):
        return problem, NOT_APPLIED, f"Write {near}. The names here are: {names}."
    homes = [dotted(path) for path in _paths_named(model, str(spot.key))]
    if homes:
        belongs = " or ".join(homes[:3])
        return problem, NOT_APPLIED, f"Its place is {belongs}: check the indentation."
    return problem, NOT_APPLIED, f"Take it out. The names here are: {names}."


def nearest(spot: Spot) -> str | None:
    """The name that was meant by one that there is not."""
    close = difflib.get_close_matches(str(spot.key).lower(), spot.sibling_names, n=1, cutoff=0.7)
    return close[0] if close else None


def _paths_named(model: type[BaseModel], key: str, base: KeyPath = ()) -> Iterator[KeyPath]:
    for name, block in named(model):
        if name == key:
            yield (*base, name)
        if block is not None:
            yield from _paths_named(block, key, (*base, name))


def _wrong_kind(spot: Spot, given: object, context: Mapping[str, Any]) -> tuple[str, str, str]:
    key = str(context.get("discriminator", "kind")).strip("'")
    kinds = spot.tags(key)
    tag = given.get(key) if isinstance(given, dict) else None
    problem = f"{key} is missing here." if tag is None else f"There is no {key} {shown(tag)}."
    close = difflib.get_close_matches(str(tag), kinds, n=1)
    remedy = f"Write {close[0]}. " if close else ""
    return problem, _why(spot), f"{remedy}{key} is one of: {', '.join(kinds)}."


def _wrong_length(spot: Spot, given: object) -> tuple[str, str, str]:
    count = f" has {len(given)} entries; it" if isinstance(given, list) else ""
    return (
        f"{spot.key}{count} must be {spot.expected()}.",
        _why(spot),
        f"Write {spot.example()}.",
    )


def _wrong_text_length(spot: Spot, given: object) -> tuple[str, str, str]:
    letters = len(given) if isinstance(given, str) else 0
    return (
        f"{spot.key} has {letters} characters; it must be {spot.expected()}.",
        _why(spot),
        "Write a text of that length.",
    )


def _out_of_range(spot: Spot, given: object) -> tuple[str, str, str]:
    problem = f"{spot.shown(given)} is outside the range of {spot.key}: {spot.range_words()}."
    remedy = f"Write a value {spot.range_words()}".replace("value at", "value of at")
    if (scaled := spot.in_key_unit(given)) is not None:
        remedy = f"If it was meant in another unit: {spot.key} wants {scaled}. {remedy}"
    return problem, _why(spot), f"{remedy}."


def _wrong_type(spot: Spot, given: object) -> tuple[str, str, str]:
    name = "This part" if spot.key is None else spot.key
    problem = f"{name} is {shown(given)}; it must be {spot.expected()}."
    return problem, _why(spot), _type_remedy(spot, given)


_MISFITS: dict[str, Callable[[Spot, object], tuple[str, str, str]]] = {
    "too_long": _wrong_length,
    "too_short": _wrong_length,
    "string_too_short": _wrong_text_length,
    "string_too_long": _wrong_text_length,
    "greater_than": _out_of_range,
    "greater_than_equal": _out_of_range,
    "less_than": _out_of_range,
    "less_than_equal": _out_of_range,
}

_NUMBER_AND_UNIT = re.compile(r"([-+]?[0-9]+(?:[.,][0-9]+)?)\s*(?:[^\W\d_][\w/%]*|%)?")


def _type_remedy(spot: Spot, given: object) -> str:
    number = _NUMBER_AND_UNIT.fullmatch(given.strip()) if isinstance(given, str) else None
    if number and spot.wants_number:
        plain = number[1].replace(",", ".")
        return f"Write {plain}, without quotes; the unit is in the name of the key."
    if isinstance(given, float) and isfinite(given) and spot.wants_whole_number:
        return f"Write {round(given)}, or another whole number."
    if spot.wants_text and isinstance(given, int | float) and not isinstance(given, bool):
        return f'Put it in quotes: "{given}".'
    if isinstance(given, str) and spot.options:
        options = [str(option) for option in spot.options]
        if close := difflib.get_close_matches(given, options, n=1):
            return f"Write {close[0]}."
    if spot.is_block:
        return f"Write `{spot.key}:` and below it, further right, {spot.expected()}."
    return f"Write {spot.example()}."


def _why(spot: Spot, otherwise: str = "") -> str:
    return spot.description or otherwise or "Nothing may run on a setting that is misunderstood."
