"""Stale: no fresh answer from a channel's converter. What it answers is for ``sensing``."""

from supervisor.protection.lost_time import AT_A_STRETCH, LostTime
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import NAMES
from supervisor.readings import Channel, Quality, Reading, Readings
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.model import SupervisorSettings


class _Watch:
    """One channel: the age of its newest answer, counted from the conversion."""

    __slots__ = ("age_s", "answered_at_s", "channel", "limit_s", "lost")

    def __init__(self, channel: Channel, limit_s: float) -> None:
        self.channel = channel
        self.limit_s = limit_s
        self.lost = LostTime(limit_s)
        self.answered_at_s: float | None = None
        self.age_s = 0.0

    def judge(self, reading: Reading | None, now_s: float) -> State:
        silent = reading is None or reading.quality is Quality.NO_ANSWER
        if reading is not None and not silent:
            self.answered_at_s = reading.taken_at_s
        elif self.answered_at_s is None:
            self.answered_at_s = now_s  # never yet: waited for since the first cycle
        self.age_s = max(0.0, now_s - self.answered_at_s)
        too_old = self.age_s > self.limit_s
        full = self.lost.update(silent or too_old, now_s)
        if too_old or (silent and full):
            return State.TRIP
        return State.CANNOT_TELL if silent else State.CLEAR


class StaleRule:
    """Trips when a channel's newest answer is too old, or answers fail again and again.

    For a channel that comes and goes see ``LostTime``. ``measured`` is the oldest age.
    """

    key = "stale"
    function = ""  # the standard has no number for a silent sensor
    remedy = (
        "look at the converter's supply, ground, address and bus wires, and at the log for bus "
        "errors; keep the bus short and away from coil and power leads"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        self._limit_s = settings.protection.stale.trip_after_seconds
        self._watches = [_Watch(c, self._limit_s) for c in fitted_channels(settings)]

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        scan = readings.scan
        states = [watch.judge(scan.get(watch.channel), now_s) for watch in self._watches]
        for state in (State.TRIP, State.CANNOT_TELL):
            if state in states:
                return self._fault(state, self._watches[states.index(state)])
        oldest_s = max([watch.age_s for watch in self._watches])
        reason = "every channel answers in time"
        return Verdict(self.key, State.CLEAR, oldest_s, self._limit_s, "s", None, reason)

    def _fault(self, state: State, watch: _Watch) -> Verdict:
        name, age_s = NAMES[watch.channel], watch.age_s
        if state is State.TRIP and age_s < AT_A_STRETCH * self._limit_s:
            reason = f"{name} fails to answer again and again"
        else:
            reason = f"{name}: no fresh answer for {age_s:.2f} s"
        return Verdict(self.key, state, age_s, self._limit_s, "s", watch.answered_at_s, reason)
