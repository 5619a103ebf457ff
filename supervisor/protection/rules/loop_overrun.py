"""The loop itself is late."""

from collections import deque

from supervisor.protection.verdict import State, Verdict
from supervisor.readings import Readings
from supervisor.settings.model import SupervisorSettings


class LoopOverrunRule:
    """One cycle far too late, or too many deadlines missed in a while."""

    key = "loop_overrun"
    function = ""
    remedy = (
        "find out what keeps the computer busy, hot or starved of power; check the bus speed "
        "against bus.kilohertz"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        self._ours = settings.protection.loop_overrun
        self._missed: deque[tuple[float, int]] = deque()  # when, how many
        self._seen = 0

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        pace = readings.pace
        if pace.misses != self._seen:
            self._missed.append((now_s, pace.misses - self._seen))
            self._seen = pace.misses
        while self._missed and now_s - self._missed[0][0] > self._ours.in_seconds:
            self._missed.popleft()
        missed = sum(count for _, count in self._missed)
        if not pace.late_s <= self._ours.trip_late_seconds:
            return self._verdict(State.TRIP, pace.late_s, f"a cycle began {pace.late_s:.2f} s late")
        if missed >= self._ours.trip_misses:
            reason = f"{missed} deadlines missed in {self._ours.in_seconds:g} s"
            return self._verdict(State.TRIP, pace.late_s, reason)
        return self._verdict(State.CLEAR, pace.late_s, "in time")

    def _verdict(self, state: State, late_s: float, reason: str) -> Verdict:
        limit_s = self._ours.trip_late_seconds
        return Verdict(self.key, state, late_s, limit_s, "s", None, reason)
