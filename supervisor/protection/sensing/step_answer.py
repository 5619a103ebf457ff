"""A voltage that does not answer the current: the lead sits on something that is not this bank.

A lead on another battery, or at the end of a broken wire that floats at a cell's voltage, does not
move when the current does.
"""

from supervisor.protection.sensing.check import KEY
from supervisor.protection.sensing.knob_steps import PER_MICROOHM, KnobSteps
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import Readings
from supervisor.settings.model import SupervisorSettings

SIGMAS = 3.0

REMEDY = (
    "follow the front cell's sense lead to the cell's own terminals: does it sit on another "
    "battery, or hang loose? Then the shunt's: a current may be read that does not flow. Compare "
    "both with a meter before and after a turn of the knob"
)


class StepAnswer:
    """Trips when the front cell surely moves by less than ``least_answer_microohms`` per ampere.

    All steps since closing count together. ``measured`` and ``limit`` are in microohms.
    """

    def __init__(self, settings: SupervisorSettings) -> None:
        self._least_ohm = settings.protection.sensing.least_answer_microohms / PER_MICROOHM
        self._steps = KnobSteps(settings)
        self._closed_at_s: float | None = None
        self._found: Verdict | None = None

    def judge(self, readings: Readings, now_s: float) -> Verdict | None:  # noqa: ARG002  (a Check)
        contactor = readings.contactor
        if contactor.told_to_close and contactor.told_at_s != self._closed_at_s:
            self._closed_at_s = contactor.told_at_s
            self._steps.clear()
            self._found = None
        if self._steps.take(readings):
            self._found = self._verdict()
        return self._found if contactor.told_to_close else None

    def _verdict(self) -> Verdict | None:
        answer_ohm, sigma_ohm = self._steps.answer()
        strong = SIGMAS * sigma_ohm <= self._least_ohm
        if not strong or answer_ohm + SIGMAS * sigma_ohm >= self._least_ohm:
            return None
        answer, least = answer_ohm * PER_MICROOHM, self._least_ohm * PER_MICROOHM
        turned_a = self._steps.turned_a
        reason = (
            f"front cell does not answer the current: {answer:z.1f} microohm instead of "
            f"{least:.1f} at the least, over {turned_a:.0f} A in {_steps(len(self._steps))}"
        )
        return Verdict(KEY, State.TRIP, answer, least, "microohm", None, reason, REMEDY)


def _steps(count: int) -> str:
    return "one step" if count == 1 else f"{count} steps"
