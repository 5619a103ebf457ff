"""No fresh reading: no answer from a converter, or an answer that came too late."""

from supervisor.protection.lost_time import LostTime
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import NAMES
from supervisor.readings import Channel, Quality, Reading, Readings
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.model import SupervisorSettings


class StaleRule:
    """Any channel; age counts from the conversion, not from when it was read."""

    key = "stale"
    function = ""
    remedy = "look at the bus, its connectors and the converters' supply, and at the system's load"

    def __init__(self, settings: SupervisorSettings) -> None:
        self._limit_s = settings.protection.stale.trip_after_seconds
        self._lost = {channel: LostTime(self._limit_s) for channel in fitted_channels(settings)}
        self._answered_at_s: dict[Channel, float] = {}

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        verdicts = [self._on_channel(c, readings.scan.get(c), now_s) for c in self._lost]
        return max(verdicts, key=lambda v: (_RANK[v.state], v.measured or 0.0))

    def _on_channel(self, channel: Channel, reading: Reading | None, now_s: float) -> Verdict:
        answered = reading is not None and reading.quality is not Quality.NO_ANSWER
        if reading is not None and answered:
            self._answered_at_s[channel] = reading.taken_at_s
        age_s = now_s - self._answered_at_s.setdefault(channel, now_s)
        full = self._lost[channel].update(not answered, now_s)
        name = NAMES[channel]
        if full or not age_s <= self._limit_s:
            what = f"no answer, newest reading {age_s:.2f} s old"
            return self._verdict(State.TRIP, age_s, now_s, f"{name}: {what}")
        if not answered:
            return self._verdict(State.CANNOT_TELL, age_s, now_s, f"{name}: no answer")
        return self._verdict(State.CLEAR, age_s, now_s, "every reading is fresh")

    def _verdict(self, state: State, age_s: float, now_s: float, reason: str) -> Verdict:
        since_s = None if state is State.CLEAR else now_s - age_s
        return Verdict(self.key, state, age_s, self._limit_s, "s", since_s, reason)


_RANK = {State.CLEAR: 0, State.TIMING: 1, State.CANNOT_TELL: 2, State.TRIP: 3}
