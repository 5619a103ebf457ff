"""The record of what was tried on a build: a line of JSON for every step that was done.

Lines are only added, so nothing that was found is lost. Of a step the newest line counts whose
settings are those in force; one that was done in a simulation counts in a simulation only.
"""

import errno
import json
import os
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, FiniteFloat, TypeAdapter, ValidationError

from supervisor.control.build_steps import BY_KEY, BuildStep, needed
from supervisor.control.plain_file import open_plain, plain_file, sync_folder
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import is_changeable

FILE_NAME = "commissioning.jsonl"
MOST_TOLD = 3
LARGEST_BYTES = 4_000_000  # a step takes some kilobytes
CALIBRATIONS = ("front_cell", "far_cell", "current")
CALIBRATED_FOR_DAYS = 365  # a year: common practice, no source


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at. ``measured``, ``low``, ``high`` and ``uncertainty`` (expanded,
    k = 2) in ``unit``; ``defect`` names what is wrong, ``remedy`` what to do about it."""

    what: str
    passed: bool
    measured: FiniteFloat | None = None
    unit: str = ""
    low: FiniteFloat | None = None
    high: FiniteFloat | None = None
    uncertainty: FiniteFloat | None = None
    words: str = ""
    defect: str = ""
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class StepDone:
    """A step as it was done; ``wall`` in UTC, ``relied_on`` the settings it was done with."""

    step: str
    passed: bool
    wall: str
    by: str
    version: str
    simulated: bool
    relied_on: Mapping[str, Any]
    findings: Annotated[tuple[Finding, ...], Field(max_length=1000)] = ()
    as_found: Mapping[str, FiniteFloat] = field(default_factory=dict)
    as_left: Mapping[str, FiniteFloat] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Lost:
    """A line that cannot be read: of which step, empty if that too is lost."""

    step: str


Line = StepDone | Lost
_STEP_DONE = TypeAdapter(StepDone)


class BuildRecord:
    """Reads and adds to the record of one circuit, in its state folder."""

    def __init__(self, state_dir: Path) -> None:
        self.path = state_dir / FILE_NAME
        self.doubts: tuple[str, ...] = ()
        """After ``lines`` or ``read``: what could not be read, in words."""

    def lines(self) -> tuple[Line, ...]:
        """Oldest first. Never raises: a line that cannot be read is a step not done."""
        self.doubts = ()
        try:
            text = plain_file(self.path, LARGEST_BYTES)
        except FileNotFoundError:
            return ()
        except OSError as error:
            self.doubts = (f"{self.path} cannot be read ({error.strerror or error})",)
            return ()
        lines: tuple[Line, ...] = tuple(
            _read(line) or Lost(_step_of(line)) for line in text.split(b"\n") if line.strip()
        )
        if lost := sum(isinstance(line, Lost) for line in lines):
            self.doubts = (f"{lost} lines of {self.path} cannot be read",)
        return lines

    def read(self) -> tuple[StepDone, ...]:
        """Those lines that can be read."""
        return tuple(line for line in self.lines() if isinstance(line, StepDone))

    def add(self, done: StepDone) -> None:
        """On disk when this returns. Raises OSError, for what is no plain file as well."""
        text = json.dumps(asdict(done), allow_nan=False, ensure_ascii=False)
        is_new = not os.path.lexists(self.path)
        with open_plain(self.path, os.O_RDWR | os.O_APPEND | os.O_CREAT) as file:
            before = os.fstat(file.fileno()).st_size
            torn = before > 0 and os.pread(file.fileno(), 1, before - 1) != b"\n"
            line = b"\n" * torn + text.encode("utf-8", "replace") + b"\n"
            try:
                if file.write(line) < len(line):
                    raise OSError(errno.ENOSPC, "no space left on the disk")
                os.fsync(file.fileno())
            except OSError:  # no half a line
                with suppress(OSError):
                    os.ftruncate(file.fileno(), before)
                raise
        if is_new:
            sync_folder(self.path.parent)

    def copied_to(self, folder: Path) -> "BuildRecord":
        """The same lines, those that cannot be read among them, in another folder."""
        copy = BuildRecord(folder)
        with suppress(OSError):
            copy.path.write_bytes(plain_file(self.path, LARGEST_BYTES))
        return copy

    def why_not(self, settings: SupervisorSettings, *, simulated: bool) -> tuple[str, ...]:
        """Why this build, with these settings, does not count as commissioned; empty when it
        does."""
        return tuple(why_not(settings, self.lines(), simulated=simulated))

    def old_calibrations(
        self, settings: SupervisorSettings, now: datetime, *, simulated: bool
    ) -> tuple[str, ...]:
        """What was calibrated long ago, in words."""
        return tuple(old_calibrations(settings, self.lines(), now, simulated=simulated))


@dataclass(frozen=True, slots=True)
class Standing:
    """How a step stands with the settings in force: ``found`` is the time that counts, passed or
    failed, None without one; ``latest`` the last time at all. ``why`` it has not passed, in words;
    empty when it has."""

    found: StepDone | None
    latest: StepDone | None
    why: str


def standing(step: BuildStep, settings: SupervisorSettings, lines: Iterable[Line]) -> Standing:
    """The one judgement of a step, by daemon, walk, list and certificate. ``lines``: ``counting``.

    A lost line behind a step may say that it failed: then it does not count. Nor does it when a
    step that it stands on was done again behind it.
    """
    lines = tuple(lines)
    own = [one for one in _done(lines) if one.step == step.key]
    latest = own[-1] if own else None
    found = newest(step, settings, own)
    adjusted = found is not None and not found.passed and found.as_left and found is not latest
    if found is None or adjusted:  # what it was adjusted to is its latest outcome
        return Standing(None, latest, _not_done(step, settings, latest))
    at = max(number for number, line in enumerate(lines) if line is found)
    if void := _void(step, settings, lines[at + 1 :]):
        return Standing(None, latest, void)
    return Standing(found, latest, "" if found.passed else _failed(step, found))


def first_to_pass(
    step: BuildStep, settings: SupervisorSettings, lines: Iterable[Line]
) -> BuildStep | None:
    """The first step that this one needs and that has not passed: until then it is not tried."""
    lines = tuple(lines)
    needs = (BY_KEY[key] for key in step.needs)
    return next(
        (one for one in needs if one.is_needed(settings) and standing(one, settings, lines).why),
        None,
    )


def counting(lines: Iterable[Line], *, simulated: bool) -> tuple[Line, ...]:
    """What was simulated counts in a simulation only; of a lost line nobody can tell."""
    return tuple(one for one in lines if isinstance(one, Lost) or one.simulated is simulated)


def why_not(
    settings: SupervisorSettings, lines: Iterable[Line], *, simulated: bool
) -> Iterator[str]:
    """For each needed step that is not passed with the settings in force: which, and why."""
    counts = counting(lines, simulated=simulated)
    if not any(_done(counts)):
        yield "this build has no commissioning record (holdwatch commission)"
        return
    for step in needed(settings):
        if why := standing(step, settings, counts).why:
            yield f"not commissioned: {why} ({_repeats(step, settings)})"


def old_calibrations(
    settings: SupervisorSettings, lines: Iterable[Line], now: datetime, *, simulated: bool
) -> Iterator[str]:
    """What was calibrated with the settings in force, but long ago, in words."""
    counts = counting(lines, simulated=simulated)
    for key in CALIBRATIONS:
        step = BY_KEY[key]
        found = standing(step, settings, counts).found if step.is_needed(settings) else None
        days = _days_since(found.wall, now) if found and found.passed else 0
        if days > CALIBRATED_FOR_DAYS:
            yield f"{step.title}: calibrated {days} days ago ({_repeats(step, settings)})"


def shortened(reasons: Sequence[str]) -> tuple[str, ...]:
    """For where there is room for a few."""
    more = len(reasons) - MOST_TOLD
    if more <= 0:
        return tuple(reasons)
    return (*reasons[:MOST_TOLD], f"and {more} more steps (holdwatch commission --list)")


def newest(
    step: BuildStep, settings: SupervisorSettings, done: Iterable[StepDone]
) -> StepDone | None:
    """The newest time that a step was done with the settings in force."""
    relied_on = step.relied_on(settings)
    return next(
        (
            one
            for one in reversed(tuple(done))
            if one.step == step.key and not any(changes(one.relied_on, relied_on))
        ),
        None,
    )


def changes(was: Any, now: Any, path: str = "") -> Iterator[tuple[str, Any, Any]]:
    """The paths at which two settings differ, with what was and what is; absent is None."""
    if isinstance(was, Mapping) and isinstance(now, Mapping):
        for key in {**was, **now}:
            yield from changes(was.get(key), now.get(key), f"{path}.{key}" if path else key)
    elif was != now:
        yield path, was, now


def _repeats(step: BuildStep, settings: SupervisorSettings) -> str:
    profile = f" --profile {settings.profile}" if settings.is_of_profile else ""
    return f"holdwatch commission --step {step.key}{profile}"


def _done(lines: Iterable[Line]) -> Iterator[StepDone]:
    return (line for line in lines if isinstance(line, StepDone))


def _not_done(step: BuildStep, settings: SupervisorSettings, latest: StepDone | None) -> str:
    if latest is None:
        return f"the step {step.key} was not done"
    path, was, now = next(changes(latest.relied_on, step.relied_on(settings)))
    own = settings.profiles[settings.profile].changes if settings.is_of_profile else {}
    is_own = any(f"{path}.".startswith(f"{one}.") for one in own)
    is_now = f"for this profile it is {_told(now)}" if is_own else f"it is {_told(now)} now"
    return f"the step {step.key} was done with {path} {_told(was)}, {is_now}"


def _failed(step: BuildStep, found: StepDone) -> str:
    if found.as_left:
        return f"the step {step.key} has asked for other settings, and was not done with them"
    return f"the step {step.key} failed"


def _void(step: BuildStep, settings: SupervisorSettings, since: Iterable[Line]) -> str:
    """Why what was found before these lines counts no more."""
    stands_on = [key for key in step.stands_on if BY_KEY[key].is_needed(settings)]
    for line in since:
        if isinstance(line, Lost) and line.step in ("", step.key):
            return f"a later line of the record cannot be read, and may be of the step {step.key}"
        if isinstance(line, Lost) or line.step not in (step.key, *stands_on):
            continue
        if _is_other(line, settings):
            continue
        if line.step == step.key and not line.passed and not line.as_left:
            return f"the step {step.key} failed since, with other settings"
        if line.step in stands_on:
            return f"the step {step.key} was done before the step {line.step} was done again"
    return ""


def _is_other(done: StepDone, settings: SupervisorSettings) -> bool:
    """Done for another profile: it says nothing of the settings in force."""
    differ = [path for path, *_ in changes(done.relied_on, BY_KEY[done.step].relied_on(settings))]
    return bool(differ) and all(is_changeable(path) for path in differ)


def _told(value: Any) -> str:
    return "absent" if value is None else "another" if isinstance(value, Mapping) else str(value)


def _days_since(wall: str, now: datetime) -> int:
    """0 of a time that cannot be read, or that is yet to come."""
    try:
        return max(0, (now - datetime.fromisoformat(wall)).days)
    except (ValueError, TypeError):  # TypeError: without its zone
        return 0


def _read(line: bytes) -> StepDone | None:
    """None of a line that is none, and of one that passed over what did not."""
    try:
        done = _STEP_DONE.validate_json(line, strict=True)
    except (ValidationError, RecursionError):
        return None
    agrees = not done.passed or (done.findings and all(one.passed for one in done.findings))
    return done if agrees else None


def _step_of(line: bytes) -> str:
    """Whose line it was; empty when nobody can tell."""
    begun = re.match(rb'\{"step": "(\w+)"', line)
    key = begun[1].decode("ascii", "replace") if begun else ""
    return key if key in BY_KEY else ""
