"""Front cell and current over stretches of time: means of many windows tell microvolts."""

from math import isfinite
from typing import NamedTuple

from supervisor.protection.believed import believed
from supervisor.readings import Channel, Readings

LONGEST_SHARE = 1.5  # a stretch with more time missing is begun anew


class Stretch(NamedTuple):
    """Means over some time around ``at_s``, and the extremes of the current's means in it."""

    at_s: float
    volts: float
    amperes: float
    low_a: float
    high_a: float


class Stretches:
    """Gathers windows that tell both front cell and current into stretches of one length."""

    def __init__(self, length_s: float, window_s: float) -> None:
        self._count = round(length_s / window_s)
        self._longest_s = LONGEST_SHARE * length_s
        self._points: list[tuple[float, float, float]] = []  # when, V, A

    def take(self, readings: Readings) -> Stretch | None:
        """The stretch that this cycle's window completes, else None."""
        point = _point(readings)
        if point is None:
            return None
        if self._points and point[0] - self._points[0][0] > self._longest_s:
            self._points.clear()
        self._points.append(point)
        if len(self._points) < self._count:
            return None
        at_s, volts, amperes = zip(*self._points, strict=True)
        self._points.clear()
        return Stretch(_mean(at_s), _mean(volts), _mean(amperes), min(amperes), max(amperes))


def _point(readings: Readings) -> tuple[float, float, float] | None:
    window = readings.window
    if window is None or not readings.window_is_new:
        return None
    volts, amperes = (believed(window.get(c)) for c in (Channel.FRONT_CELL, Channel.SHUNT))
    if volts is None or amperes is None or not (isfinite(volts) and isfinite(amperes)):
        return None
    return window[Channel.FRONT_CELL].taken_at_s, volts, amperes


def _mean(values: tuple[float, ...]) -> float:
    return sum(values) / len(values)
