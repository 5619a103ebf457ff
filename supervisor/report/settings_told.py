"""The settings of a session as tables: limits, calibration, and what the build does without.

They were sound when the session ran. A later version of the program may not know them any more:
then their keys are shown as they stand.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError

from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import with_profile

LIMITS = ("protection", "second_line", "charge")
CHANNELS = ("front_cell", "far_cell", "shunt")


@dataclass(frozen=True, slots=True)
class Limit:
    path: str
    value: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Calibration:
    channel: str
    gain: str
    offset: str
    gain_uncertainty: str


def dig(settings: Mapping[str, Any], path: str) -> float | None:
    """A number at a dotted path of the settings as they were recorded."""
    found: Any = settings
    for key in path.split("."):
        found = found.get(key) if isinstance(found, Mapping) else None
    is_number = isinstance(found, int | float) and not isinstance(found, bool)
    return float(found) if is_number else None


def parsed(settings: Mapping[str, Any]) -> SupervisorSettings | None:
    """None when this version of the program does not know them."""
    try:
        return SupervisorSettings.model_validate_json(json.dumps(settings))
    except ValidationError:
        return None


def as_profile(settings: SupervisorSettings | None, name: str) -> SupervisorSettings | None:
    if settings is None:
        return None
    try:
        changed = with_profile(settings, name)
    except (KeyError, ValidationError):
        return None
    return changed if isinstance(changed, SupervisorSettings) else None


def limits(settings: Mapping[str, Any], model: SupervisorSettings | None) -> list[Limit]:
    """Every value of the protection and of the charge, with its meaning where it is known."""
    rows = []
    for block in LIMITS:
        for path, value in _leaves(settings.get(block), block):
            if not path.startswith("protection.without"):
                rows.append(Limit(path.removeprefix("protection."), value, _meaning(model, path)))
    return rows


def calibration(settings: Mapping[str, Any]) -> list[Calibration]:
    rows = []
    for name in CHANNELS:
        channel = (settings.get("channels") or {}).get(name)
        if isinstance(channel, Mapping):
            unit, key = ("A", "offset_amperes") if name == "shunt" else ("V", "offset_volts")
            percent = channel.get("gain_uncertainty_percent")
            rows.append(
                Calibration(
                    name.replace("_", " "),
                    str(channel.get("gain", "?")),
                    f"{channel.get(key, '?')} {unit}",
                    "by the data sheets" if percent is None else f"{percent} %",
                )
            )
    return rows


def without(settings: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Rules that the risk needs and that were off, with the reasons."""
    reasons = (settings.get("protection") or {}).get("without") or {}
    return [(name.replace("_", " "), why) for name, why in reasons.items() if why]


def _leaves(value: Any, path: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, Mapping):
        for key, part in value.items():
            yield from _leaves(part, f"{path}.{key}")
    elif value is not None:
        yield path, _shown(value)


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _meaning(model: BaseModel | None, path: str) -> str:
    *blocks, key = path.split(".")
    for block in blocks:
        model = getattr(model, block, None)
    field = type(model).model_fields.get(key) if isinstance(model, BaseModel) else None
    return (field.description or "") if field else ""
