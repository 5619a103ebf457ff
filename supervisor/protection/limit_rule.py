"""What the rules with a plain limit share: the worst channel, compared, confirmed, put in words."""

from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple

from supervisor.protection.believed import believed
from supervisor.protection.debounce import Debounce
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import NAMES, amount, beside, flaw
from supervisor.readings import Channel, Reading, Readings


class _Worst(NamedTuple):
    """The channel nearest to the limit, or farthest past it."""

    channel: Channel
    value: float


class LimitRule:
    """A limit on some channels, of which the worst counts.

    When one channel cannot tell, the rule cannot tell, unless another one is past the limit for
    long enough: that trips. Timing goes on through it, unchanged.
    """

    key: str
    function: str
    remedy: str
    side: Literal["above", "below"] = "above"
    meaning: str = ""  # what being past the limit says, after the numbers

    def __init__(self, channels: Sequence[Channel], limit: float, debounce: Debounce) -> None:
        self._channels = tuple(channels)
        self._limit = limit
        self._unit = self._channels[0].unit
        self._debounce = debounce
        self._sign = 1.0 if self.side == "above" else -1.0
        self._past = f"{self.side} {amount(limit, self._unit)}"
        self._not_past = f"not {self._past}"

    def decide(self, readings: Mapping[Channel, Reading], now_s: float) -> Verdict:
        """The verdict on a new set of readings."""
        worst, unknown = self._look(readings)
        value = None if worst is None else worst.value
        past = value is not None and self._is_past(value)
        self._debounce.update(True if past else (None if unknown else False), now_s)
        since_s = self._debounce.since_s

        if self._debounce.is_tripped:
            return self._verdict(State.TRIP, value, since_s, self._words(worst, now_s))
        if unknown is not None:
            reason = f"no good reading, {flaw(unknown, readings.get(unknown))}"
            return self._verdict(State.CANNOT_TELL, value, None, reason)
        if since_s is not None:
            return self._verdict(State.TIMING, value, since_s, self._words(worst, now_s))
        return self._verdict(State.CLEAR, value, None, self._not_past)

    def _look(self, readings: Mapping[Channel, Reading]) -> tuple[_Worst | None, Channel | None]:
        """The worst channel, and one that cannot tell."""
        worst: _Worst | None = None
        unknown: Channel | None = None
        for channel in self._channels:
            value = believed(readings.get(channel))
            if value is None:
                unknown = channel
            elif worst is None or self._sign * (value - worst.value) > 0:
                worst = _Worst(channel, value)
        return worst, unknown

    def _is_past(self, value: float) -> bool:
        return self._sign * (value - self._limit) > 0

    def _words(self, worst: _Worst | None, now_s: float) -> str:
        """Timing or tripped, for the operator."""
        past = f"{self._past} for {self._debounce.for_s(now_s):.1f} s"
        if worst is None:
            return f"{NAMES[self._channels[0]]} was {past}, now without a good reading"
        name, value = NAMES[worst.channel], beside(worst.value, self._limit, self._unit)
        if self._is_past(worst.value):
            return f"{name} {value} is {past}{self.meaning}"
        return f"{name} was {past}, now {value}"

    def _verdict(
        self, state: State, value: float | None, since_s: float | None, reason: str
    ) -> Verdict:
        return Verdict(self.key, state, value, self._limit, self._unit, since_s, reason)


class WindowLimitRule(LimitRule):
    """A limit on means over whole mains cycles: it acts when a window closes, not between."""

    _last: Verdict | None = None

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        if readings.window is None:
            reason = "no window of readings is complete yet"
            return self._verdict(State.CANNOT_TELL, None, None, reason)
        if readings.window_is_new or self._last is None:
            self._last = self.decide(readings.window, now_s)
        return self._last
