"""What the rules with a plain limit share: the worst channel, compared, confirmed, put in words."""

from collections.abc import Mapping, Sequence
from typing import ClassVar, Literal

from supervisor.protection.debounce import Debounce
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import NAMES, amount, flaw
from supervisor.readings import Channel, Quality, Reading, Readings

GOOD = Quality.GOOD


class LimitRule:
    """A limit on some channels, of which the worst counts.

    When one channel cannot tell, the rule cannot tell, unless another one is past the limit for
    long enough: that trips. Timing goes on through it, unchanged.
    """

    key: ClassVar[str]
    function: ClassVar[str]
    remedy: ClassVar[str]
    side: ClassVar[Literal["above", "below"]] = "above"

    def __init__(self, channels: Sequence[Channel], limit: float, debounce: Debounce) -> None:
        self._channels = tuple(channels)
        self._limit = limit
        self._unit = self._channels[0].unit
        self._debounce = debounce
        self._sign = 1.0 if self.side == "above" else -1.0
        self._unknown_since_s: float | None = None
        self._within = f"not {self.side} {amount(limit, self._unit)}"

    def decide(self, readings: Mapping[Channel, Reading], now_s: float) -> Verdict:
        """The verdict on a new set of readings."""
        channel, value, unknown = self._worst(readings)
        # Put so that a value that is no number counts as past the limit.
        past = value is not None and not self._sign * (value - self._limit) <= 0
        self._debounce.update(True if past else (None if unknown else False), now_s)
        if unknown is None:
            self._unknown_since_s = None
        elif self._unknown_since_s is None:
            self._unknown_since_s = now_s

        if self._debounce.is_tripped:
            return self._acting(State.TRIP, channel, value, past, now_s)
        if unknown is not None:
            reason = f"no good reading, {flaw(unknown, readings.get(unknown))}"
            return self._verdict(State.CANNOT_TELL, value, self._unknown_since_s, reason)
        if self._debounce.since_s is not None:
            return self._acting(State.TIMING, channel, value, past, now_s)
        return self._verdict(State.CLEAR, value, None, self._within)

    def _worst(
        self, readings: Mapping[Channel, Reading]
    ) -> tuple[Channel | None, float | None, Channel | None]:
        """The channel nearest to or farthest past the limit, its value; one that cannot tell."""
        worst: Channel | None = None
        worst_value: float | None = None
        unknown: Channel | None = None
        for channel in self._channels:
            reading = readings.get(channel)
            if reading is None or reading.quality is not GOOD or reading.value is None:
                unknown = channel
            elif worst_value is None or self._sign * (reading.value - worst_value) > 0:
                worst, worst_value = channel, reading.value
        return worst, worst_value, unknown

    def _acting(
        self, state: State, channel: Channel | None, value: float | None, past: bool, now_s: float
    ) -> Verdict:
        """Timing or tripped, in words."""
        since_s = self._debounce.since_s
        for_s = 0.0 if since_s is None else now_s - since_s
        limit = f"{self.side} {amount(self._limit, self._unit)}"
        if channel is None or value is None:
            reason = f"was {limit} for {for_s:.1f} s, now without a good reading"
        elif past:
            now = amount(value, self._unit)
            reason = f"{NAMES[channel]} {now} is {limit} for {for_s:.1f} s"
        else:
            now = amount(value, self._unit)
            reason = f"{NAMES[channel]} was {limit} for {for_s:.1f} s, now {now}"
        return self._verdict(state, value, since_s, reason)

    def _verdict(
        self, state: State, value: float | None, since_s: float | None, reason: str
    ) -> Verdict:
        return Verdict(self.key, state, value, self._limit, self._unit, since_s, reason)


class WindowLimitRule(LimitRule):
    """A limit on means over whole mains cycles: it acts when a window closes, not between."""

    _last: Verdict | None = None

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        if readings.window is None:
            return self._before_the_first(now_s)
        if readings.window_is_new or self._last is None:
            self._last = self.decide(readings.window, now_s)
        return self._last

    def _before_the_first(self, now_s: float) -> Verdict:
        if self._unknown_since_s is None:
            self._unknown_since_s = now_s
        reason = "no window of readings is complete yet"
        return self._verdict(State.CANNOT_TELL, None, self._unknown_since_s, reason)
