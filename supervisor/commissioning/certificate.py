"""What was tried on a build, step by step, as plain data: the certificate.

A record of what somebody tried; no body certifies anything by it.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

from supervisor import __version__
from supervisor.control.build_record import (
    CALIBRATIONS,
    StepDone,
    changes,
    newest,
    old_calibrations,
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
OTHERWISE_SET = "done with other settings"


def certificate(
    settings: SupervisorSettings,
    done: Iterable[StepDone],
    *,
    settings_text: bytes,
    simulated: bool,
    now: datetime,
) -> dict[str, Any]:
    """Everything on record that counts for these settings, fit for JSON.

    ``settings_text``: the file as it is, for its hash. ``done``: oldest first; what was simulated
    counts in a simulation only.
    """
    counts = [one for one in done if one.simulated is simulated]
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


def _entry(step: BuildStep, settings: SupervisorSettings, done: list[StepDone]) -> dict[str, Any]:
    last = newest(step, settings, done)
    before = _as_found(step, done, last)
    earlier = [one for one in done if one.step == step.key] if last is None else []
    return {
        "step": step.key,
        "title": step.title,
        "state": _state(step, settings, last, was_done=bool(earlier)),
        "changed": list(_changed(step, settings, earlier[-1])) if earlier else [],
        "relied_on": step.relied_on(settings),
        "as_found": _told(before),
        "done": _told(last),
    }


def _state(
    step: BuildStep, settings: SupervisorSettings, last: StepDone | None, *, was_done: bool
) -> str:
    if last is not None:
        return PASSED if last.passed else FAILED
    if not step.is_needed(settings):
        return NOT_NEEDED
    return OTHERWISE_SET if was_done else OPEN


def _changed(
    step: BuildStep, settings: SupervisorSettings, done: StepDone
) -> Iterator[dict[str, str]]:
    """What was set otherwise when it was last done."""
    for path, was, now in changes(done.relied_on, step.relied_on(settings)):
        yield {"path": path, "was": _value(was), "now": _value(now)}


def _value(value: Any) -> str:
    return "absent" if value is None else json.dumps(value, ensure_ascii=False)


def _calibrations(
    settings: SupervisorSettings, done: list[StepDone], now: datetime
) -> Iterator[dict[str, Any]]:
    """When each channel was calibrated; ``age_days`` None where the date cannot be read."""
    for key in CALIBRATIONS:
        step = BY_KEY[key]
        last = newest(step, settings, done) if step.is_needed(settings) else None
        if last and last.passed:
            yield {"step": key, "title": step.title, "wall": last.wall} | _age(last.wall, now)


def _age(wall: str, now: datetime) -> dict[str, int | None]:
    try:
        days = (now - datetime.fromisoformat(wall)).days
    except (ValueError, TypeError):  # TypeError: without its zone
        return {"age_days": None}
    return {"age_days": days if days >= 0 else None}  # yet to come: a clock was wrong


def _as_found(step: BuildStep, done: list[StepDone], last: StepDone | None) -> StepDone | None:
    """The time before, if it wrote the settings that the last one was done with."""
    if last is None:
        return None
    own = [one for one in done if one.step == step.key]
    at = own.index(last)
    return own[at - 1] if at and own[at - 1].as_left else None


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
