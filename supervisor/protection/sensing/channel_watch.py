"""One channel by itself: answers that cannot be true, for too long or again and again."""

from supervisor.protection.lost_time import AT_A_STRETCH, LostTime
from supervisor.protection.sensing.check import KEY
from supervisor.protection.sensing.flaws import flaws_of
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import NAMES
from supervisor.readings import Channel, Quality, Readings
from supervisor.settings.hardware import CellChannel, ShuntChannel

GOOD = Quality.GOOD


class ChannelWatch:
    """How long a channel has been without a believable value; ``measured`` is that time.

    A frozen channel trips at once: it has been so for long. For one that comes and goes see
    ``LostTime``. No answer at all is the business of ``rules/stale.py``.
    """

    __slots__ = ("_channel", "_flaws", "_good_at_s", "_limit_s", "_lost")

    def __init__(
        self, channel: Channel, wiring: CellChannel | ShuntChannel, limit_s: float
    ) -> None:
        self._channel = channel
        self._flaws = flaws_of(wiring)
        self._limit_s = limit_s
        self._lost = LostTime(limit_s)
        self._good_at_s: float | None = None

    def judge(self, readings: Readings, now_s: float) -> Verdict | None:
        reading = readings.scan.get(self._channel)
        good = reading is not None and reading.quality is GOOD
        full = self._lost.update(not good, now_s)
        if good or self._good_at_s is None:
            self._good_at_s = now_s  # never yet: waited for since the first cycle
        if reading is None or reading.quality not in self._flaws:
            return None
        frozen = reading.quality is Quality.FROZEN
        state = State.TRIP if full or frozen else State.CANNOT_TELL
        return self._object(state, reading.quality, self._good_at_s, now_s)

    def _object(self, state: State, quality: Quality, since_s: float, now_s: float) -> Verdict:
        for_s = now_s - since_s
        if quality is Quality.FROZEN:
            lasting = ""
        elif state is State.TRIP and for_s < AT_A_STRETCH * self._limit_s:
            lasting = " again and again"
        else:
            lasting = f" for {for_s:.2f} s"
        flaw = self._flaws[quality]
        reason = f"{NAMES[self._channel]} {flaw.says}{lasting}: {flaw.cause}"
        return Verdict(KEY, state, for_s, self._limit_s, "s", since_s, reason, flaw.remedy)
