"""Which settings held when: a profile chosen within a session brings other limits."""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from supervisor.journal.codes import SESSION_GOES_ON
from supervisor.report.record import Record
from supervisor.report.series import Floats
from supervisor.report.settings_told import as_profile, dig, parsed

# A profile chosen within the session, and its own settings back after others.
BRING_SETTINGS = ("profile", SESSION_GOES_ON)


class InForce(NamedTuple):
    """Settings from a point of the axis to another; empty where nothing is known of them."""

    from_s: float
    to_s: float
    settings: Mapping[str, Any]


class Line(NamedTuple):
    """A limit along the axis; nan where it does not hold."""

    words: str
    at_s: Floats
    values: Floats


def level(words: str, value: float, from_s: float, to_s: float) -> Line:
    """One that does not change."""
    return Line(words, np.array([from_s, to_s]), np.array([value, value]))


def in_force(record: Record) -> tuple[InForce, ...]:
    """Without gaps, in the order of time."""
    settings: Mapping[str, Any] = record.session.settings
    model, since_s = parsed(settings), 0.0
    found: list[InForce] = []
    for event in record.events:
        if event.code in BRING_SETTINGS:
            found.append(InForce(since_s, event.at_s, settings))
            changed = as_profile(model, str(event.data.get("profile", "")))
            settings = changed.model_dump(mode="json") if changed else {}
            since_s = event.at_s
    return (*found, InForce(since_s, max(record.timeline.ends_s, since_s), settings))


def lines(spells: Sequence[InForce], path: str, words: str, form: str) -> list[Line]:
    """The number at a path, one line for each value that it had. ``form``: such as ``.3f V``."""
    digits, unit = form.split(" ")
    values = [dig(spell.settings, path) for spell in spells]
    return [
        Line(f"{words} {value:{digits}} {unit}", *_held(spells, values, value))
        for value in dict.fromkeys(v for v in values if v is not None)
    ]


def along(spells: Sequence[InForce], path: str, at_s: Floats) -> Floats:
    """The number at a path, for each of these times; nan where there is none."""
    begins_s = [spell.from_s for spell in spells]
    values = [dig(spell.settings, path) for spell in spells]
    which = np.maximum(np.searchsorted(begins_s, at_s, side="right") - 1, 0)
    return np.array(values, dtype=float)[which]


def _held(
    spells: Sequence[InForce], values: Sequence[float | None], value: float
) -> tuple[Floats, Floats]:
    at_s: list[float] = []
    held: list[float] = []
    for spell, found in zip(spells, values, strict=True):
        level = value if found == value else np.nan
        at_s += [spell.from_s, spell.to_s]
        held += [level, level]
    return np.array(at_s), np.array(held)
