"""What was tried on a build, step by step, as plain data: the certificate.

A record of what somebody tried; no body certifies anything by it.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from itertools import pairwise
from typing import Any

from supervisor import __version__
from supervisor.control.build_record import (
    CALIBRATIONS,
    Line,
    Standing,
    StepDone,
    changes,
    counting,
    old_calibrations,
    standing,
    why_not,
)
from supervisor.control.build_steps import BY_KEY, STEPS, BuildStep
from supervisor.settings.model import SupervisorSettings

FORMAT = 1
WORDS = (
    "A record of what was tried on this build, by those who sign it. It is not a certification: "
    "local codes, the makers' data sheets and licensed practice stand above it."
)
PASSED, FAILED, OPEN, NOT_NEEDED = "passed", "failed", "not done", "not needed"
OTHERWISE_SET, AGAIN = "done with other settings", "to be done again"


def certificate(
    settings: SupervisorSettings,
    lines: Iterable[Line],
    *,
    settings_text: bytes,
    simulated: bool,
    now: datetime,
) -> dict[str, Any]:
    """Everything on record that counts for these settings, fit for JSON.

    ``settings_text``: the file as it is, for its hash. ``lines``: of the record, oldest first; what
    was simulated counts in a simulation only.
    """
    counts = counting(lines, simulated=simulated)
    missing = list(why_not(settings, counts, simulated=simulated))
    return {
        "format": FORMAT,
        "words": WORDS,
        "bank": settings.bank.name,
        "profile": settings.profile,
        "simulated": simulated,
        "made": now.isoformat(timespec="seconds"),
        "version": __version__,
        "settings_sha256": hashlib.sha256(settings_text).hexdigest(),
        "commissioned": not missing,
        "missing": missing,
        "closes_all_the_same": settings.uncommissioned_reason if settings.uncommissioned else None,
        "calibrations": list(_calibrations(settings, counts, now)),
        "reminders": list(old_calibrations(settings, counts, now, simulated=simulated)),
        "steps": [_entry(step, settings, counts) for step in STEPS],
        "by_simulation_only": _untried(settings),
        "without": settings.protection.without.reasons(),
    }


def _entry(step: BuildStep, settings: SupervisorSettings, lines: Sequence[Line]) -> dict[str, Any]:
    stands = standing(step, settings, lines)
    earlier = stands.latest if stands.found is None else None
    return {
        "step": step.key,
        "title": step.title,
        "state": _state(step, settings, stands),
        "why": stands.why if earlier else "",
        "changed": list(_changed(step, settings, earlier)) if earlier else [],
        "relied_on": step.relied_on(settings),
        "as_found": _told(_as_found(step, lines, stands.found)),
        "done": _told(stands.found),
    }


def _state(step: BuildStep, settings: SupervisorSettings, stands: Standing) -> str:
    if stands.found is not None:
        return FAILED if stands.why else PASSED
    if not step.is_needed(settings):
        return NOT_NEEDED
    if stands.latest is None:
        return OPEN
    return OTHERWISE_SET if any(_changed(step, settings, stands.latest)) else AGAIN


def _changed(
    step: BuildStep, settings: SupervisorSettings, done: StepDone
) -> Iterator[dict[str, str]]:
    """What was set otherwise when it was last done."""
    for path, was, now in changes(done.relied_on, step.relied_on(settings)):
        yield {"path": path, "was": _value(was), "now": _value(now)}


def _value(value: Any) -> str:
    return "absent" if value is None else json.dumps(value, ensure_ascii=False)


def _calibrations(
    settings: SupervisorSettings, lines: Sequence[Line], now: datetime
) -> Iterator[dict[str, Any]]:
    """When each channel was calibrated; ``age_days`` None where the date cannot be read."""
    for key in CALIBRATIONS:
        step = BY_KEY[key]
        found = standing(step, settings, lines).found if step.is_needed(settings) else None
        if found and found.passed:
            yield {"step": key, "title": step.title, "wall": found.wall} | _age(found.wall, now)


def _age(wall: str, now: datetime) -> dict[str, int | None]:
    try:
        days = (now - datetime.fromisoformat(wall)).days
    except (ValueError, TypeError):  # TypeError: without its zone
        return {"age_days": None}
    return {"age_days": days if days >= 0 else None}  # yet to come: a clock was wrong


def _as_found(step: BuildStep, lines: Sequence[Line], found: StepDone | None) -> StepDone | None:
    """The time before, if it wrote the settings that the one that counts was done with."""
    own = [line for line in lines if isinstance(line, StepDone) and line.step == step.key]
    before = next((was for was, then in pairwise(own) if then is found), None)
    return before if before and before.as_left else None


def _told(done: StepDone | None) -> dict[str, Any] | None:
    if done is None:
        return None
    return {key: value for key, value in asdict(done).items() if key != "relied_on"}


def _untried(settings: SupervisorSettings) -> list[str]:
    """Rules in force that no step drives over their limit."""
    tried = {step.key.removeprefix("trip_") for step in STEPS if step.key.startswith("trip_")}
    rules: Mapping[str, Any] = {**dict(settings.protection), "second_line": settings.second_line}
    return [
        name
        for name, rule in rules.items()
        if rule is not None and name != "without" and name not in tried
    ]
