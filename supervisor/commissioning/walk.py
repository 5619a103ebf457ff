"""From step to step: what is done already is left out, what was found goes on record at once."""

from collections.abc import Callable, Mapping, Sequence

from supervisor import __version__
from supervisor.commissioning.leaves import Leaves
from supervisor.commissioning.measuring import CannotTell
from supervisor.commissioning.person import Person
from supervisor.commissioning.steps.all import STEPS
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.control.build_record import BuildRecord, Finding, StepDone, newest
from supervisor.control.build_steps import BuildStep, needed
from supervisor.settings.model import SupervisorSettings

Adopt = Callable[[Mapping[str, float]], SupervisorSettings]
Begins = Callable[[BuildStep], None]
Ended = Callable[[BuildStep, StepDone], None]
MOST_TRIES = 2  # as found, and as left


class Walk:
    """Does steps and records them.

    ``adopt`` writes new settings to the file and returns them all. ``begins`` and ``ended`` are
    told of every step. Raises Left and Unanswered from the person, OSError from the record.
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
    ) -> None:
        self.settings = settings
        self._leaves = leaves
        self._person = person
        self._record = record
        self._adopt = adopt
        self._begins = begins
        self._ended = ended
        self._changed = False

    @property
    def done(self) -> tuple[StepDone, ...]:
        """What counts here: in a simulation what was simulated."""
        simulated = self._leaves.simulated
        return tuple(one for one in self._record.read() if one.simulated is simulated)

    def open_steps(self) -> list[BuildStep]:
        """The needed steps that are not passed with the settings in force."""
        done = self.done
        passed = {step.key: newest(step, self.settings, done) for step in needed(self.settings)}
        return [step for step in needed(self.settings) if not _is_passed(passed[step.key])]

    def go(self, steps: Sequence[BuildStep] | None = None) -> bool:
        """These steps, or all that are open. Whether every one of them passed.

        A step that changes settings opens others anew: of all, until none is left that was not
        tried.
        """
        if steps is not None:
            passed = [self.do(step) for step in steps]  # each, whatever came of the one before
            return all(passed)
        failed: set[str] = set()
        while still := [step for step in self.open_steps() if step.key not in failed]:
            if not self.do(still[0]):
                failed.add(still[0].key)
        return not failed

    def do(self, step: BuildStep) -> bool:
        """One step, twice if it found something to put right. Whether it passed at last."""
        self._begins(step)
        done = self._once(step)
        for _ in range(MOST_TRIES - 1):
            if not self._changed:
                break
            done = self._once(step)
        return done.passed and not self._changed

    def _once(self, step: BuildStep) -> StepDone:
        outcome = self._outcome(step)
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
            notes=outcome.notes,
        )
        self._changed = bool(outcome.changes)
        self._record.add(done)  # first: what was found is not lost when it cannot be written
        self._ended(step, done)
        if self._changed:
            self.settings = self._adopt(outcome.changes)
        return done

    def _outcome(self, step: BuildStep) -> Outcome:
        bench = Bench(self.settings, self._leaves, self._person, self.done)
        try:
            return STEPS[step.key].run(bench)
        except CannotTell as reason:
            return Outcome((_not_told(str(reason)),))
        except OSError as error:
            return Outcome((_not_told(error.strerror or str(error)),))


def _is_passed(done: StepDone | None) -> bool:
    return done is not None and done.passed


def _not_told(words: str) -> Finding:
    return Finding(
        "the step could be done",
        False,
        words=words,
        defect="it cannot be told",
        remedy="Mend what is said here, then do the step again.",
    )
