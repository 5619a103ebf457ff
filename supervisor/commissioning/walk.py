"""From step to step: what is done already is left out, what was found goes on record at once."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence

from supervisor import __version__
from supervisor.commissioning.leaves import Leaves
from supervisor.commissioning.measuring import CannotTell
from supervisor.commissioning.person import Person, Unanswered
from supervisor.commissioning.steps.all import STEPS
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.commissioning.tidy import TidyPerson
from supervisor.control.build_record import (
    BuildRecord,
    Finding,
    Line,
    Standing,
    StepDone,
    counting,
    first_to_pass,
    standing,
)
from supervisor.control.build_steps import BuildStep, needed
from supervisor.measurement.meter import Unit
from supervisor.settings.model import SupervisorSettings

Adopt = Callable[[Mapping[str, float]], SupervisorSettings]
Begins = Callable[[BuildStep], None]
Ended = Callable[[BuildStep, StepDone], None]
Again = Callable[[BuildStep, StepDone], bool]
MOST_TRIES = 2  # as found, and as left
MOST_TURNS = 3  # of one step in one walk, without a person who wants it


class Walk:
    """Does steps and records them.

    ``adopt`` writes new settings to the file and returns them all; ``holds`` raises Unanswered when
    that file is another than it was. ``begins`` and ``ended`` are told of every step; ``again``
    asks whether one that failed is mended and to be done once more. Raises Left and Unanswered.
    """

    def __init__(
        self,
        settings: SupervisorSettings,
        leaves: Leaves,
        person: Person,
        record: BuildRecord,
        adopt: Adopt,
        begins: Begins = lambda _step: None,
        ended: Ended = lambda _step, _done: None,
        again: Again = lambda _step, _done: False,
        holds: Callable[[], None] = lambda: None,
    ) -> None:
        self.settings = settings
        self._leaves = leaves
        self._person = TidyPerson(person, second_line=settings.second_line is not None)
        self._record = record
        self._adopt = adopt
        self._begins = begins
        self._ended = ended
        self._again = again
        self._holds = holds
        self._changed = False

    @property
    def lines(self) -> tuple[Line, ...]:
        """What counts here: in a simulation what was simulated."""
        return counting(self._record.lines(), simulated=self._leaves.simulated)

    @property
    def done(self) -> tuple[StepDone, ...]:
        return tuple(line for line in self.lines if isinstance(line, StepDone))

    def open_steps(self) -> list[BuildStep]:
        """The needed steps that are not passed with the settings in force."""
        return [step for step, stands in self._stand() if stands.why]

    def go(self, steps: Sequence[BuildStep] | None = None) -> bool:
        """These steps, or all that are open. Whether every one of them passed.

        A step that changes settings opens others anew: of all, until none is left that was not
        tried as things are now. None is tried before those that it needs have passed.
        """
        try:
            passed = self._all_open() if steps is None else self._these(steps)
        except BaseException:  # Left, Unanswered, Ctrl-C, missing hardware
            self._person.is_told_what_is_off()
            raise
        self._person.puts_back()
        return passed

    def _these(self, steps: Sequence[BuildStep]) -> bool:
        passed = [self._do(step) for step in steps if not self._has_to_wait(step)]
        return len(passed) == len(steps) and all(passed)

    def _all_open(self) -> bool:
        turns: Counter[str] = Counter()
        while step := self._next(turns):
            turns[step.key] += 1
            self._do(step)
        still = self.open_steps()
        for step in still:
            self._has_to_wait(step)
        return not still

    def _has_to_wait(self, step: BuildStep) -> bool:
        """For a step that it needs; told then."""
        first = first_to_pass(step, self.settings, self.lines)
        if first:
            self._person.tells(f"{step.key}: not tried: first {first.key} has to pass")
        return first is not None

    def _do(self, step: BuildStep) -> bool:
        """One step, twice if it found something to put right, and again when it was mended.
        Whether it passed at last."""
        done = self._tried(step)
        while not (passed := done.passed and not self._changed) and self._again(step, done):
            self._person.has_mended()
            done = self._tried(step)
        return passed

    def _stand(self) -> list[tuple[BuildStep, Standing]]:
        lines = self.lines
        return [(step, standing(step, self.settings, lines)) for step in needed(self.settings)]

    def _next(self, turns: Counter[str]) -> BuildStep | None:
        """The first that is open; not one that has failed in this walk, while nothing has changed
        that it goes by."""
        for step, stands in self._stand():
            has_failed = turns[step.key] > 0 and stands.found is not None
            waits = first_to_pass(step, self.settings, self.lines) is not None
            if stands.why and not has_failed and not waits and turns[step.key] < MOST_TURNS:
                return step
        return None

    def _tried(self, step: BuildStep) -> StepDone:
        self._begins(step)
        done = self._once(step)
        for _ in range(MOST_TRIES - 1):
            if not self._changed:
                break
            done = self._once(step)
        return done

    def _once(self, step: BuildStep) -> StepDone:
        self._holds()
        outcome = self._outcome(step)
        self._changed = bool(outcome.changes)
        done = self._recorded(step, outcome)  # first: what was found is not lost
        self._person.ends_the_current()
        self._ended(step, done)
        if self._changed:
            self.settings = self._adopt(outcome.changes)
        return done

    def _outcome(self, step: BuildStep) -> Outcome:
        bench = Bench(self.settings, self._leaves, self._person, self.lines)
        self._person.references.clear()
        try:
            return STEPS[step.key].run(bench)
        except CannotTell as reason:
            return Outcome((_not_told(str(reason)),))
        except OSError as error:
            return Outcome((_not_told(error.strerror or str(error)),))

    def _references(self) -> Iterator[str]:
        for kind, meter in self._person.references.items():
            unit: Unit = "A" if kind == "amperes" else "V"
            yield f"reference meter: {meter.words(unit)}, as stated"

    def _recorded(self, step: BuildStep, outcome: Outcome) -> StepDone:
        done = StepDone(
            step=step.key,
            passed=outcome.passed and not outcome.changes,
            wall=self._leaves.clock.wall().isoformat(timespec="seconds"),
            by=self._person.name,
            version=__version__,
            simulated=self._leaves.simulated,
            relied_on=step.relied_on(self.settings),
            findings=outcome.findings,
            as_found=outcome.as_found,
            as_left=outcome.as_left,
            notes=(*self._references(), *outcome.notes),
        )
        self._holds()
        try:
            self._record.add(done)
        except OSError as error:
            raise Unanswered(
                f"the step {step.key} is not on record: {self._record.path}: "
                f"{error.strerror or error}\n"
                "  why: what is not on record was not tried\n"
                "  what to do: look at that file and its disk, then do the step again"
            ) from None
        return done


def _not_told(words: str) -> Finding:
    return Finding(
        "the step could be done",
        False,
        words=words,
        defect="it cannot be told",
        remedy="Mend what is said here, then do the step again.",
    )
