"""The settings of a session as tables: limits, calibration, and what the build does without.

They were sound when the session ran. A later version of the program may not know them any more:
then their keys are shown as they stand, without their meaning.
"""

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from pydantic import ValidationError

from supervisor.report.sound import block, finite
from supervisor.report.words import plain, without_keys
from supervisor.settings.expected import locate
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import with_profile

LIMITS = ("protection", "second_line", "charge")
CHANNELS = ("front_cell", "far_cell", "shunt")
SYMBOLS = {  # by how a key ends, the longest first
    "millivolts_per_hour": "mV/h",
    "volts_per_minute": "V/min",
    "volts_per_second": "V/s",
    "amperes_per_second": "A/s",
    "ampere_hours": "Ah",
    "milliseconds": "ms",
    "millivolts": "mV",
    "microohms": "µΩ",
    "seconds": "s",
    "minutes": "min",
    "hours": "h",
    "amperes": "A",
    "volts": "V",
    "percent": "%",
    "celsius": "°C",
    "trip_misses": "cycles",
    "most_pulses": "pulses",
    "most_per_hour": "an hour",
    "high_set.confirm": "conversions",
    "high_set.of": "conversions",
    ".confirm": "windows",
    ".of": "windows",
}
FUNCTION = re.compile(r"(.*) \((?:function )?(\d\d[^)]*)\)\.")


@dataclass(frozen=True, slots=True)
class Limit:
    """``path`` is the key's, for those who look into the settings; ``value`` has its unit."""

    path: str
    value: str
    meaning: str

    @property
    def key(self) -> str:
        """Within its block."""
        return self.path.rpartition(".")[2]


@dataclass(frozen=True, slots=True)
class Group:
    """The limits of one block, which stands at ``path``. ``function``: its number in IEEE C37.2."""

    path: str
    title: str
    about: str
    function: str
    limits: tuple[Limit, ...]


@dataclass(frozen=True, slots=True)
class Calibration:
    channel: str
    gain: str
    offset: str
    gain_uncertainty: str


def dig(settings: Mapping[str, Any], path: str) -> float | None:
    """A finite number at a dotted path of the settings as they were recorded, or None."""
    return finite(at(settings, path))


def at(settings: Mapping[str, Any], path: str) -> Any:
    """What stands at a dotted path; None where nothing does."""
    found: Any = settings
    for key in path.split("."):
        found = block(found).get(key)
    return found


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


def limits(settings: Mapping[str, Any], *, is_known: bool) -> list[Limit]:
    """Every value of the protection and of the charge, with its meaning where it is known."""
    return [
        Limit(path, _shown(path, value), _meaning(path) if is_known else "")
        for name in LIMITS
        for path, value in _leaves(settings.get(name), name)
        if not path.startswith("protection.without")
    ]


def grouped(rows: Iterable[Limit]) -> list[Group]:
    """By their blocks, in the order of the settings."""
    return [
        Group(
            path,
            _title(path),
            *_without_function(_meaning(path) if members[0].meaning else ""),
            tuple(members),
        )
        for path, found in groupby(rows, lambda row: row.path.rpartition(".")[0])
        if (members := list(found))
    ]


def calibration(settings: Mapping[str, Any]) -> list[Calibration]:
    rows = []
    for name in CHANNELS:
        if channel := block(at(settings, f"channels.{name}")):
            unit, key = ("A", "offset_amperes") if name == "shunt" else ("V", "offset_volts")
            percent = channel.get("gain_uncertainty_percent")
            rows.append(
                Calibration(
                    plain(name),
                    f"{channel.get('gain', '?')} {unit} per {unit}",
                    f"{channel.get(key, '?')} {unit}",
                    "by the data sheets" if percent is None else f"{percent} %",
                )
            )
    return rows


def without(settings: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Rules that the risk needs and that were off, with the reasons."""
    reasons = block(at(settings, "protection.without"))
    return [(plain(str(name)), str(why)) for name, why in reasons.items() if why]


def _leaves(value: Any, path: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for key, part in value.items():
            yield from _leaves(part, f"{path}.{key}")
    elif value is not None:
        yield path, value


def _shown(path: str, value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if (number := finite(value)) is None:
        return str(value)
    symbol = next((symbol for end, symbol in SYMBOLS.items() if path.endswith(end)), "")
    return f"{number:.10g} {symbol}".strip()


def _title(path: str) -> str:
    words = path.removeprefix("protection.").split(".")
    return ", ".join(map(plain, words))


def _without_function(about: str) -> tuple[str, str]:
    """A sentence, and the number that stood behind it: a term for few."""
    if (found := FUNCTION.fullmatch(about)) is None:
        return about, ""
    return f"{found[1]}.", found[2]


def _meaning(path: str) -> str:
    return without_keys(locate(SupervisorSettings, tuple(path.split("."))).description or "")
