"""How fast channels rise while the contactor is closed: what the rules of function 7 share."""

from collections.abc import Iterable
from typing import NamedTuple

from supervisor.protection.believed import believed
from supervisor.protection.slope import SlidingSlope
from supervisor.protection.wording import NAMES, flaw
from supervisor.readings import Channel, Reading

AFTER_CLOSING_S = 1.0  # the step over the cells' resistance is no rise
SETTLING_S = 2.0  # of counted windows, before a slope is worth judging,
SETTLING_SHARE = 0.5  # or so much of a stretch that is shorter
FEWEST_SHARE = 0.5  # of the points expected
SIGNIFICANT_SIGMAS = 3.0


def settling_s(over_s: float) -> float:
    """How long slopes over such a stretch are not judged, once counting has begun."""
    return min(SETTLING_S, SETTLING_SHARE * over_s)


class Rise(NamedTuple):
    """One channel: its newest mean, the slope of its means (per second), and that one's noise."""

    channel: Channel
    value: float
    slope: float
    sigma: float

    @property
    def surely(self) -> float:
        """The slope, less its noise."""
        return self.slope - SIGNIFICANT_SIGMAS * self.sigma


class Rises:
    """Least-squares slopes of the means of some channels, begun anew with every closing."""

    def __init__(self, channels: Iterable[Channel], over_s: float, window_s: float) -> None:
        self._slopes = {channel: SlidingSlope(over_s) for channel in channels}
        self._over_s = over_s
        self._window_s = window_s
        self._settling_s = settling_s(over_s)
        self._closed_at_s: float | None = None
        self._from_s: float | None = None  # counted from here on, None before the first window
        self._counted_s = 0.0

    def begin(self, closed_at_s: float) -> bool:
        """Forget what was before this closing; whether there was anything to forget."""
        if closed_at_s == self._closed_at_s:
            return False
        self._closed_at_s, self._from_s = closed_at_s, None
        for slope in self._slopes.values():
            slope.clear()
        return True

    def take(self, window: dict[Channel, Reading]) -> bool:
        """Take a new window; whether slopes are worth judging by now."""
        ends_at_s = max(reading.taken_at_s for reading in window.values())
        if self._from_s is None:
            settled_at_s = (self._closed_at_s or 0.0) + AFTER_CLOSING_S
            self._from_s = max(settled_at_s, ends_at_s - self._window_s)
        self._counted_s = ends_at_s - self._from_s
        if self._counted_s >= self._window_s:
            self._collect(window)
        return self._counted_s >= self._settling_s

    def of(self, channel: Channel, window: dict[Channel, Reading]) -> Rise | str:
        """The channel's rise up to the window just taken, or why it is not known."""
        value = believed(window.get(channel))
        if value is None:
            return f"no good reading, {flaw(channel, window.get(channel))}"
        slope = self._slopes[channel]
        fit = slope.fit()
        if fit is None or len(slope) < self._fewest():
            return f"too few good means of the {NAMES[channel]} for a slope"
        return Rise(channel, value, *fit)

    def _fewest(self) -> float:
        return FEWEST_SHARE * min(self._counted_s, self._over_s) / self._window_s

    def _collect(self, window: dict[Channel, Reading]) -> None:
        for channel, slope in self._slopes.items():
            value = believed(window.get(channel))
            if value is not None:
                slope.add(window[channel].taken_at_s, value)
