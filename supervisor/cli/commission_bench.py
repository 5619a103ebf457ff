"""What ``commission`` and ``calibrate`` stand on: a walk, what is told of it, what is written."""

import os
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import click
from rich.console import Console

from supervisor.cli.commission_file import SettingsFile, refused
from supervisor.cli.commission_text import cautions, heading, outcome, show
from supervisor.cli.person_at_terminal import PersonAtTerminal
from supervisor.cli.person_by_answers import PersonByAnswers
from supervisor.cli.real_build import RealBuild
from supervisor.commissioning.leaves import Leaves
from supervisor.commissioning.person import Left, Person, Unanswered
from supervisor.commissioning.walk import Walk
from supervisor.control.build_record import (
    CALIBRATIONS,
    BuildRecord,
    Line,
    StepDone,
    counting,
)
from supervisor.control.build_steps import BY_KEY, BuildStep, needed
from supervisor.settings.document import Document, Place
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.fitness import examine_document, fit

CHANNEL_OF = {"front_cell": "front_cell", "far_cell": "far_cell", "current": "shunt"}


@dataclass(frozen=True, slots=True)
class Asked:
    """What was given on the command line. ``writes``: into the settings and onto the record."""

    config: Path
    profile: str | None = None
    simulate: bool = False
    yes: bool = False
    answers: Path | None = None
    by: str | None = None
    state_dir: Path | None = None
    run_dir: Path | None = None
    defect: str | None = None
    writes: bool = True


class CommissionBench:
    """A build, a person and the record; ``settings`` are those in force."""

    def __init__(
        self,
        asked: Asked,
        file: SettingsFile,
        leaves: Leaves,
        person: Person,
        record: BuildRecord,
        console: Console,
    ) -> None:
        self.asked = asked
        self.file = file
        self.settings = file.settings
        self.leaves = leaves
        self.record = record
        self.console = console
        self._person = person
        self._watcher = PersonAtTerminal("", console)
        self._chosen: Sequence[BuildStep] = ()

    @property
    def lines(self) -> tuple[Line, ...]:
        """What counts here: in a simulation what was simulated."""
        return counting(self.record.lines(), simulated=self.leaves.simulated)

    @property
    def done(self) -> tuple[StepDone, ...]:
        return tuple(line for line in self.lines if isinstance(line, StepDone))

    def go(self, steps: Sequence[BuildStep] | None = None) -> bool:
        """These steps, or all that are open. Whether all passed; told what there is to tell.
        Raises UsageError for a step that has nothing to try on this build."""
        self._chosen = steps or ()
        for step in self._chosen:
            if why := step.has_nothing_to_try(self.settings):
                raise click.UsageError(f"{step.key}: {why}")
        adopt = self._adopt if self._writes_file else self._take
        walk = Walk(
            self.settings,
            self.leaves,
            self._person,
            self.record,
            adopt,
            self._begins,
            self._ended,
            self._again,
            self.file.holds,
        )
        try:
            if steps or walk.open_steps():
                self._warn()
            passed = walk.go(steps)
        except (Left, KeyboardInterrupt):
            self.tell("left; what is done is kept, and the same command goes on from here")
            passed = False
        except Unanswered as problem:
            self.tell(f"not gone on: {problem}\nwhat was done before is kept")
            passed = False
        self.settings = walk.settings
        return passed and self._all_answers_taken()

    def tell(self, text: str) -> None:
        show(self.console, (("", line) for line in text.splitlines()))

    @property
    def _writes_file(self) -> bool:
        return self.asked.writes and not self.leaves.simulated

    def _warn(self) -> None:
        """Once: what can hurt, before anything is touched."""
        show(self.console, cautions())
        if self.leaves.simulated:
            self.tell("SIMULATED: no real build is tried")
        if self._writes_file and not os.access(self.asked.config.resolve().parent, os.W_OK):
            self.tell(f"this user may not write {self.asked.config}, which a calibration has to do")
        if self._is_watched:
            self._watcher.acknowledges("Read it all? Enter")

    @property
    def _is_watched(self) -> bool:
        return not self.asked.yes and self.asked.answers is None

    def _begins(self, step: BuildStep) -> None:
        steps = list(self._chosen or needed(self.settings))
        heading(self.console, step, steps.index(step) + 1, len(steps))
        if self.leaves.simulated and self._is_watched:
            self._watcher.acknowledges("Enter to see it done")

    def _ended(self, step: BuildStep, done: StepDone) -> None:
        show(self.console, outcome(step, done))
        owned_like_its_folder(self.record.path)
        if isinstance(self.leaves, RealBuild):
            self.leaves.clear_up()

    def _again(self, step: BuildStep, _done: StepDone) -> bool:
        """Where somebody is there who can mend it."""
        asked = f"Is it mended, and shall {step.key} be done once more?"
        return self._is_watched and self._watcher.agrees(asked)

    def _adopt(self, changes: Mapping[str, float]) -> SupervisorSettings:
        """Into the file."""
        if kept := self.file.write(changes, self.leaves.clock.wall()):
            self.tell(f"written into {self.file.path}; as it was before: {kept}")
        return self.file.settings

    def _take(self, changes: Mapping[str, float]) -> SupervisorSettings:
        """In memory only."""
        self.settings = overridden(self.settings, changes)
        return self.settings

    def _all_answers_taken(self) -> bool:
        surplus = self._person.surplus if isinstance(self._person, PersonByAnswers) else ()
        for problem in surplus:
            self.tell(f"{problem}\n  what to do: see whether each answer stands at its question")
        return not surplus


def overridden(settings: SupervisorSettings, changes: Mapping[str, Any]) -> SupervisorSettings:
    """With other values at dotted paths. Raises Unanswered when they do not pass."""
    name, data = "the settings in memory", settings.model_dump(mode="json")
    if settings.is_of_profile:
        data["profiles"] = {}  # none has one within it
    document = Document(name, data, {(): Place(name, None)})
    try:
        return fit(examine_document(document.with_overrides(changes)))
    except SettingsFaults as faults:
        raise Unanswered(refused(faults)) from None


def taken_over(settings: SupervisorSettings, lines: Iterable[Line]) -> SupervisorSettings:
    """With what calibrations on record have made of these very settings: a simulated walk that
    goes on has no file where they would stand. What does not pass is not taken over."""
    changes: dict[str, Any] = {}
    done = [line for line in lines if isinstance(line, StepDone)]
    for key in CALIBRATIONS:
        block, step = f"channels.{CHANNEL_OF[key]}", BY_KEY[key]
        for found, left in pairwise([one for one in done if one.step == key]):
            values = left.relied_on.get(block)
            if not isinstance(values, Mapping) or dict(found.relied_on) != step.relied_on(settings):
                continue
            changes |= {f"{block}.{name}": values[name] for name in found.as_left if name in values}
    try:
        return overridden(settings, changes) if changes else settings
    except Unanswered:
        return settings


def owned_like_its_folder(path: Path) -> None:
    if os.geteuid() == 0:
        with suppress(OSError):
            status = path.parent.stat()
            os.chown(path, status.st_uid, status.st_gid, follow_symlinks=False)
