"""The record of what was tried on a build: a line of JSON for every step that was done.

Lines are only added, so nothing that was found is lost. Of a step the newest line counts whose
settings are those in force; one that was done in a simulation counts in a simulation only.
"""

import json
import os
import re
import stat
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, FiniteFloat, TypeAdapter, ValidationError

from supervisor.control.build_steps import BY_KEY, BuildStep, needed
from supervisor.settings.model import SupervisorSettings

FILE_NAME = "commissioning.jsonl"
MAY_REPEAT = "holdwatch commission --step"
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
    """A line that cannot be read: after so many that can, and of which step, empty if that too is
    lost."""

    after: int
    step: str


_STEP_DONE = TypeAdapter(StepDone)


class BuildRecord:
    """Reads and adds to the record of one circuit, in its state folder."""

    def __init__(self, state_dir: Path) -> None:
        self.path = state_dir / FILE_NAME
        self.doubts: tuple[str, ...] = ()
        """After ``read``: what could not be read, in words."""
        self.lost: tuple[Lost, ...] = ()

    def read(self) -> tuple[StepDone, ...]:
        """Oldest first. Never raises: a line that cannot be read is a step not done."""
        self.doubts, self.lost = (), ()
        try:
            lines = _plain_file(self.path).split(b"\n")
        except FileNotFoundError:
            return ()
        except OSError as error:
            self.doubts = (f"{self.path} cannot be read ({error.strerror or error})",)
            return ()
        read: list[StepDone] = []
        lost: list[Lost] = []
        for line in lines:
            if done := _read(line):
                read.append(done)
            elif line.strip():
                lost.append(Lost(len(read), _step_of(line)))
        self.lost = tuple(lost)
        self.doubts = (f"{len(lost)} lines of {self.path} cannot be read",) if lost else ()
        return tuple(read)

    def add(self, done: StepDone) -> None:
        """On disk when this returns. Raises OSError."""
        text = json.dumps(asdict(done), allow_nan=False, ensure_ascii=False)
        is_new = not self.path.exists()
        with self.path.open("ab") as file:
            before = file.tell()
            torn = before > 0 and not _ends_a_line(self.path)
            try:
                file.write(b"\n" * torn + text.encode("utf-8", "replace") + b"\n")
                file.flush()
                os.fsync(file.fileno())
            except OSError:  # a full disk: no half a line
                with suppress(OSError):
                    os.ftruncate(file.fileno(), before)
                raise
        if is_new:
            _sync_folder(self.path.parent)

    def why_not(self, settings: SupervisorSettings, *, simulated: bool) -> tuple[str, ...]:
        """Why this build, with these settings, does not count as commissioned; empty when it
        does."""
        done = self.read()
        return tuple(why_not(settings, done, simulated=simulated, lost=self.lost))

    def old_calibrations(
        self, settings: SupervisorSettings, now: datetime, *, simulated: bool
    ) -> tuple[str, ...]:
        """What was calibrated long ago, in words."""
        return tuple(old_calibrations(settings, self.read(), now, simulated=simulated))


def why_not(
    settings: SupervisorSettings,
    done: Iterable[StepDone],
    *,
    simulated: bool,
    lost: Sequence[Lost] = (),
) -> Iterator[str]:
    """For each needed step that is not passed with the settings in force: which, and why.

    A ``lost`` line behind it may say that it failed: then it does not count either.
    """
    lines = list(done)
    counts = [one for one in lines if one.simulated is simulated]
    if not counts:
        yield "this build has no commissioning record (holdwatch commission)"
        return
    for step in needed(settings):
        own = [one for one in counts if one.step == step.key]
        later = _lost_since(newest(step, settings, own), lines, step, lost)
        if reason := _why_not(step, settings, own) or later:
            yield f"not commissioned: {reason} ({MAY_REPEAT} {step.key})"


def old_calibrations(
    settings: SupervisorSettings, done: Iterable[StepDone], now: datetime, *, simulated: bool
) -> Iterator[str]:
    """What was calibrated with the settings in force, but long ago, in words."""
    counts = [one for one in done if one.simulated is simulated]
    for key in CALIBRATIONS:
        step = BY_KEY[key]
        found = newest(step, settings, counts) if step.is_needed(settings) else None
        days = _days_since(found.wall, now) if found and found.passed else 0
        if days > CALIBRATED_FOR_DAYS:
            yield f"{step.title}: calibrated {days} days ago ({MAY_REPEAT} {key})"


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


def _why_not(step: BuildStep, settings: SupervisorSettings, done: list[StepDone]) -> str:
    if found := newest(step, settings, done):
        return "" if found.passed else f"the step {step.key} failed"
    if not done:
        return f"the step {step.key} was not done"
    path, was, now = next(changes(done[-1].relied_on, step.relied_on(settings)))
    return f"the step {step.key} was done with {path} {_told(was)}, it is {_told(now)} now"


def _lost_since(
    found: StepDone | None, lines: Sequence[StepDone], step: BuildStep, lost: Sequence[Lost]
) -> str:
    at = next((number for number, one in enumerate(lines) if one is found), -1)
    if any(one.after > at and one.step in ("", step.key) for one in lost):
        return f"a later line of the record cannot be read, and may be of the step {step.key}"
    return ""


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


def _plain_file(path: Path) -> bytes:
    """Raises OSError, for what is no file or too large as well; waits for nobody."""
    with open(os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC), "rb") as file:
        status = os.fstat(file.fileno())
        if not stat.S_ISREG(status.st_mode):
            raise OSError("it is no file")
        if status.st_size > LARGEST_BYTES:
            raise OSError(f"it is larger than {LARGEST_BYTES} bytes")
        return file.read()


def _ends_a_line(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) == b"\n"


def _sync_folder(folder: Path) -> None:
    number = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
