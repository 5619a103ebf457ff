"""Sensing: the converter answers, but what it says cannot be true.

The division: here an answer came and cannot be believed; in ``stale`` no answer came, or an old
one.
"""

from supervisor.protection.lost_time import AT_A_STRETCH, LostTime
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import NAMES
from supervisor.readings import Channel, Quality, Reading, Readings
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.model import SupervisorSettings

GOOD = Quality.GOOD

CAUSES = {
    Quality.CLIPPED: "beyond the converter's range. Look for a sense lead on the wrong terminal, "
    "a broken divider, or range_volts set too small",
    Quality.OUT_OF_RANGE: "no live cell reads so. Look for a sense lead that is off, broken or "
    "swapped, and at its fuse",
    Quality.FROZEN: "the very same code for too long, while a live converter has noise. Switch "
    "its supply off and on; if it comes again, replace it",
    Quality.CONFIG_CHANGED: "the converter does not keep its configuration. Look at its supply "
    "and ground, and keep the bus away from coil and power leads",
    Quality.NOT_READY: "the converter does not finish its conversions. Look at its supply, and "
    "for a bus wire held low",
}


class _Watch:
    """One channel: how long without a believable value."""

    __slots__ = ("channel", "good_at_s", "lost")

    def __init__(self, channel: Channel, limit_s: float) -> None:
        self.channel = channel
        self.lost = LostTime(limit_s)
        self.good_at_s: float | None = None

    def judge(self, reading: Reading | None, now_s: float) -> State:
        good = reading is not None and reading.quality is GOOD
        full = self.lost.update(not good, now_s)
        if good or self.good_at_s is None:
            self.good_at_s = now_s  # never yet: waited for since the first cycle
        if good:
            return State.CLEAR
        if reading is None or reading.quality not in CAUSES:
            return State.CLEAR  # no answer: see ``stale``
        tripped = full or reading.quality is Quality.FROZEN
        return State.TRIP if tripped else State.CANNOT_TELL


class SensingRule:
    """Trips when a channel gives no believable value for too long, at a stretch or in pieces.

    A frozen channel trips at once: it has been so for long. For one that comes and goes see
    ``LostTime``. ``measured`` is the time without a believable value.
    """

    key = "sensing"
    function = ""  # the standard has no number for a doubtful measurement
    remedy = (
        "look at the sense lead, its fuse and its joints, and at the converter's supply and "
        "wiring, of the channel that is named; compare it with a meter of your own"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        self._limit_s = settings.protection.sensing.trip_after_seconds
        self._watches = [_Watch(c, self._limit_s) for c in fitted_channels(settings)]
        self._clear = Verdict(
            self.key, State.CLEAR, 0.0, self._limit_s, "s", None, "every answer is believable"
        )

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        scan = readings.scan
        states = [watch.judge(scan.get(watch.channel), now_s) for watch in self._watches]
        for state in (State.TRIP, State.CANNOT_TELL):
            if state in states:
                watch = self._watches[states.index(state)]
                return self._fault(state, watch, scan[watch.channel].quality, now_s)
        return self._clear

    def _fault(self, state: State, watch: _Watch, quality: Quality, now_s: float) -> Verdict:
        since_s = watch.good_at_s
        for_s = 0.0 if since_s is None else now_s - since_s
        if quality is Quality.FROZEN:
            lasting = ""
        elif state is State.TRIP and for_s < AT_A_STRETCH * self._limit_s:
            lasting = " again and again"
        else:
            lasting = f" for {for_s:.2f} s"
        reason = f"{NAMES[watch.channel]} is {quality.value}{lasting}: {CAUSES[quality]}"
        return Verdict(self.key, state, for_s, self._limit_s, "s", since_s, reason)
