"""Readings that cannot be true: the converter answers, but what it says is no value."""

from supervisor.protection.lost_time import LostTime
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import flaw
from supervisor.readings import Channel, Quality, Reading, Readings
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.model import SupervisorSettings

CAUSES = {
    Quality.CLIPPED: "the converter is at its end: a lead touches something, or the range is wrong",
    Quality.OUT_OF_RANGE: "no live cell reads so: a lead is off or touches something",
    Quality.FROZEN: "the same code over and over: the converter is stuck",
    Quality.NOT_READY: "conversions do not end: converter or bus fault",
    Quality.CONFIG_CHANGED: "the converter was reset, or the bus shifts bits: look at its supply",
}


class SensingRule:
    """Any channel. A fault that comes and goes counts as well, see LostTime."""

    key = "sensing"
    function = ""
    remedy = (
        "look at the sense lead, its fuse and its joint, and at the converter's supply and wiring, "
        "of the channel that is named"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        self._limit_s = settings.protection.sensing.trip_after_seconds
        self._lost = {channel: LostTime(self._limit_s) for channel in fitted_channels(settings)}
        self._since_s: dict[Channel, float] = {}
        self._last_flaw: dict[Channel, Quality] = {}

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        verdicts = [self._on_channel(c, readings.scan.get(c), now_s) for c in self._lost]
        return max(verdicts, key=lambda verdict: _RANK[verdict.state])

    def _on_channel(self, channel: Channel, reading: Reading | None, now_s: float) -> Verdict:
        quality = reading.quality if reading else Quality.NO_ANSWER
        untrue = quality in CAUSES
        full = self._lost[channel].update(untrue, now_s)
        if untrue:
            self._last_flaw[channel] = quality
            self._since_s.setdefault(channel, now_s)
        else:
            self._since_s.pop(channel, None)
        since_s = self._since_s.get(channel)
        if full or quality is Quality.FROZEN:
            cause = CAUSES[self._last_flaw[channel]]
            again = "" if untrue else "again and again "
            return self._verdict(State.TRIP, since_s, f"{again}{flaw(channel, reading)}; {cause}")
        if untrue:
            return self._verdict(State.CANNOT_TELL, since_s, flaw(channel, reading))
        return self._verdict(State.CLEAR, None, "every reading can be true")

    def _verdict(self, state: State, since_s: float | None, reason: str) -> Verdict:
        return Verdict(self.key, state, None, self._limit_s, "s", since_s, reason)


_RANK = {State.CLEAR: 0, State.TIMING: 1, State.CANNOT_TELL: 2, State.TRIP: 3}
