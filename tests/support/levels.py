"""Current and front cell by the stretch: for the checks that compare the two over time."""

from collections.abc import Callable

from cycles import Value, cycle, told_closed

from supervisor.protection.sensing.check import Check
from supervisor.protection.verdict import Verdict
from supervisor.readings import ContactorState

WINDOW_S = 0.1
CLOSED_AT_0 = told_closed(0.0)

Course = float | Callable[[float], float]  # of the time since the hold began


class Levels:
    """Feeds a check window by window; ``said`` is its newest answer, ``first`` its first objection.

    ``at_s`` is the end of the newest window; closed at 0 s unless told otherwise.
    """

    def __init__(self, check: Check, contactor: ContactorState = CLOSED_AT_0) -> None:
        self.check = check
        self.contactor = contactor
        self.number = 0
        self.said: Verdict | None = None
        self.first: tuple[float, Verdict] | None = None

    @property
    def at_s(self) -> float:
        return self.number * WINDOW_S

    def hold(self, amperes: Course, volts: Course, seconds: float) -> Verdict | None:
        """So much for so long; both may be functions of the time since now."""
        for k in range(round(seconds / WINDOW_S)):
            self.window(_at(amperes, (k + 1) * WINDOW_S), _at(volts, (k + 1) * WINDOW_S))
        return self.said

    def window(self, amperes: Value, volts: Value) -> Verdict | None:
        self.number += 1
        readings = cycle(self.at_s, front=volts, amperes=amperes, contactor=self.contactor)
        self.said = self.check.judge(readings, self.at_s)
        if self.said is not None and self.first is None:
            self.first = self.at_s, self.said
        return self.said


def _at(course: Course, since_s: float) -> float:
    return course(since_s) if callable(course) else course
