"""Loop overrun: the loop itself is late, and with it every other rule."""

from collections import deque

from supervisor.protection.verdict import State, Verdict
from supervisor.readings import Readings
from supervisor.settings.model import SupervisorSettings

TIMING_FROM_SHARE = 0.5  # of the misses that trip: one now and then is no reason to worry


class LoopOverrunRule:
    """Trips when one cycle begins too late, or when too many deadlines were missed of late.

    ``measured`` is the lateness of this cycle, in seconds; None where not it but the number of
    misses builds up or trips: that is in the reason.
    """

    key = "loop_overrun"
    function = ""  # the standard has no number for a late supervisor
    remedy = (
        "find out what keeps the computer busy, hot or starved of power; check the bus speed "
        "against bus.kilohertz"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.loop_overrun
        self._late_s = rule.trip_late_seconds
        self._misses = rule.trip_misses
        self._in_s = rule.in_seconds
        self._total: int | None = None  # as last seen
        self._steps: deque[tuple[float, int]] = deque()  # when, and how many new ones
        self._recent = 0

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        late_s = readings.pace.late_s
        self._count(readings.pace.misses, now_s)
        if late_s > self._late_s:
            reason = f"a cycle began {late_s:.2f} s late, more than {self._late_s:.2f} s"
            return self._verdict(State.TRIP, late_s, None, reason)
        if self._recent == 0:
            return self._verdict(State.CLEAR, late_s, None, "the loop is on time")
        missed = f"{self._recent} deadlines missed within {self._in_s:g} s"
        since_s = self._steps[0][0]
        if self._recent >= self._misses:
            reason = f"{missed}, {self._misses} are too many"
            return self._verdict(State.TRIP, None, since_s, reason)
        if self._recent >= TIMING_FROM_SHARE * self._misses:
            reason = f"{missed}, {self._misses} would be too many"
            return self._verdict(State.TIMING, None, since_s, reason)
        return self._verdict(State.CLEAR, late_s, None, missed)

    def _count(self, total: int, now_s: float) -> None:
        """New misses since the last cycle; those older than ``in_seconds`` are forgotten."""
        new = 0 if self._total is None else total - self._total
        self._total = total
        if new > 0:
            self._steps.append((now_s, new))
            self._recent += new
        while self._steps and now_s - self._steps[0][0] > self._in_s:
            self._recent -= self._steps.popleft()[1]

    def _verdict(
        self, state: State, late_s: float | None, since_s: float | None, reason: str
    ) -> Verdict:
        return Verdict(self.key, state, late_s, self._late_s, "s", since_s, reason)
