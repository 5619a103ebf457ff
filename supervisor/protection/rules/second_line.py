"""The second line: a comparator holds the coil off by wire, or nobody knows that it would (59)."""

from supervisor.protection.believed import believed
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import amount
from supervisor.readings import Channel, Readings, SecondLine
from supervisor.settings.model import SupervisorSettings

# One wrong look at the ALERT line, at a spike from the coil, is no verdict.
ALERT_LOOKS = 3


class SecondLineRule:
    """Trips when the ALERT line is low: the coil has dropped already, and shall stay off.

    At once, unless a fresh reading of the front cell contradicts it: then after looks in a row.
    Cannot tell while the second line is not verified. ``measured`` is the front cell.
    """

    key = "second_line"
    function = "59"
    remedy = (
        "turn the knob down, and find out why no limit of the software came first: look at the "
        "log, and compare both readings of the front cell with a meter of your own"
    )
    of_a_problem = (
        "look at the second line's converter and its supply, at its leads on the front cell, and "
        "at the ALERT wire from the converter by the coil driver to the pin"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        line = settings.second_line
        assert line is not None
        self._trip_v = line.trip_volts
        self._release_v = line.release_volts
        self._fresh_s = settings.protection.stale.trip_after_seconds
        self._low_looks = 0
        self._low_since_s: float | None = None

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        line = readings.second_line
        front_v = self._front_v(readings, now_s)
        closed = readings.contactor.told_to_close
        self._count(line is not None and line.alert, now_s)
        if line is None:
            return self._problem("nothing is known of the second line", front_v)
        if line.alert and (closed or not line.problem):
            return self._alert(front_v, closed=closed)
        if line.problem:
            return self._problem(line.problem, front_v)
        return self._verified(line, front_v, now_s)

    def _front_v(self, readings: Readings, now_s: float) -> float | None:
        """None: not known now. What it was before a standstill says nothing."""
        reading = readings.scan.get(Channel.FRONT_CELL)
        if reading is None or now_s - reading.taken_at_s > self._fresh_s:
            return None
        return believed(reading)

    def _count(self, low: bool, now_s: float) -> None:
        if not low:
            self._low_looks, self._low_since_s = 0, None
            return
        self._low_looks += 1
        if self._low_since_s is None:
            self._low_since_s = now_s

    def _alert(self, front_v: float | None, *, closed: bool) -> Verdict:
        limit, release = amount(self._trip_v, "V"), amount(self._release_v, "V")
        holds = "has dropped the coil" if closed else "holds the coil off"
        if front_v is None:
            reason = f"the second line {holds}, set to {limit}; the front cell is not known now"
            return self._verdict(State.TRIP, None, self._low_since_s, reason)
        front = f"the front cell reads {amount(front_v, 'V')}"
        if front_v >= self._release_v:
            reason = f"the second line {holds}, set to {limit}: {front}"
            return self._verdict(State.TRIP, front_v, self._low_since_s, reason)
        state = State.TRIP if self._low_looks >= ALERT_LOOKS else State.TIMING
        reason = f"the second line {holds}, but {front}, below {release}"
        return self._verdict(state, front_v, self._low_since_s, reason, self.of_a_problem)

    def _problem(self, problem: str, front_v: float | None) -> Verdict:
        return self._verdict(State.CANNOT_TELL, front_v, None, problem, self.of_a_problem)

    def _verified(self, line: SecondLine, front_v: float | None, now_s: float) -> Verdict:
        if line.verified_at_s is None:
            return self._problem("the second line is not verified", front_v)
        minutes = (now_s - line.verified_at_s) / 60
        limit = amount(self._trip_v, "V")
        reason = f"verified {minutes:.0f} min ago, holds the coil off above {limit}"
        return self._verdict(State.CLEAR, front_v, None, reason)

    def _verdict(
        self,
        state: State,
        front_v: float | None,
        since_s: float | None,
        reason: str,
        remedy: str = "",
    ) -> Verdict:
        return Verdict(self.key, state, front_v, self._trip_v, "V", since_s, reason, remedy)
