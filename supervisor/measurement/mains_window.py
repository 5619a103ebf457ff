"""Means over whole mains cycles, timed by our own clock.

The converter's clock is off by up to 10 %, so that a count of its conversions would be no whole
number of mains cycles. The window's ends are times instead, and the mean is the exact integral of
the straight lines between the readings, over exactly that time.
"""

from dataclasses import dataclass
from statistics import median

Point = tuple[float, float]  # time in s, value

OUTLIER_V = 0.05  # from the window's median: no cell moves so within a window, a bad bit does
FEWEST_SHARE = 0.6  # of the expected conversions
LONGEST_GAP_SHARE = 0.5  # of the window


@dataclass(frozen=True, slots=True)
class WindowGrid:
    """The windows [t0 + k T, t0 + (k + 1) T) of one clock; k = 0, 1, 2 ..."""

    t0_s: float
    length_s: float

    def ends(self, k: int) -> tuple[float, float]:
        return self.t0_s + k * self.length_s, self.t0_s + (k + 1) * self.length_s

    def newest_ended(self, now_s: float) -> int:
        """The last window that has ended at this time; -1 when none has."""
        k = int((now_s - self.t0_s) // self.length_s) - 1
        if self.ends(k + 1)[1] <= now_s:  # the division rounds either way
            return k + 1
        return k if self.ends(k)[1] <= now_s else k - 1


@dataclass(frozen=True, slots=True)
class WindowMean:
    """Mean over one window, and the extremes of the readings in it."""

    mean: float
    low: float
    high: float


class MainsWindow:
    """Collects one channel's good readings and gives their mean over a window."""

    __slots__ = ("_fewest", "_outlier", "_points")

    def __init__(self, conversions_per_window: int, outlier: float | None = None) -> None:
        """Readings more than ``outlier`` from the window's median are left out of its mean."""
        self._outlier = outlier
        self._fewest = FEWEST_SHARE * conversions_per_window
        self._points: list[Point] = []

    def __len__(self) -> int:
        """How many readings are kept for windows to come."""
        return len(self._points)

    def add(self, taken_at_s: float, value: float) -> None:
        """Take a good reading. One that is not later than the last is left out."""
        if not self._points or taken_at_s > self._points[-1][0]:
            self._points.append((taken_at_s, value))

    def close(self, start_s: float, end_s: float) -> WindowMean | None:
        """The mean over [start_s, end_s), or None when too little is known about it.

        Needs the neighbours outside to draw the lines across the ends; without one, the reading
        nearest to that end is taken to hold until there. Forgets what later windows do not need.
        """
        points = self._believable(start_s, end_s)
        inside = [value for t, value in points if start_s <= t < end_s]
        length_s = end_s - start_s
        mean = None
        if len(inside) >= self._fewest:
            gap_s = longest_gap_s(points, start_s, end_s)
            if gap_s <= LONGEST_GAP_SHARE * length_s:
                area = integral(points, start_s, end_s)
                mean = WindowMean(area / length_s, min(inside), max(inside))
        self._forget_before(end_s)
        return mean

    def _believable(self, start_s: float, end_s: float) -> list[Point]:
        points = self._points
        inside = [value for t, value in points if start_s <= t < end_s]
        if self._outlier is None or not inside:
            return points
        middle = median(inside)
        return [point for point in points if abs(point[1] - middle) <= self._outlier]

    def _forget_before(self, end_s: float) -> None:
        """All but the last reading before this time: it is the next window's neighbour."""
        points = self._points
        before = sum(1 for t, _ in points if t < end_s)
        if before > 1:
            del points[: before - 1]


def integral(points: list[Point], start_s: float, end_s: float) -> float:
    """Integral over time of the straight lines between points, level beyond the first and last.

    Exact for values that are piecewise linear in time. ``points`` are in order and not empty.
    """
    t0, v0 = points[0]
    area = v0 * max(0.0, min(t0, end_s) - start_s)
    for t1, v1 in points[1:]:
        a, b = max(t0, start_s), min(t1, end_s)
        if a < b:
            middle = ((a - t0) + (b - t0)) / 2
            area += (b - a) * (v0 + (v1 - v0) * middle / (t1 - t0))
        t0, v0 = t1, v1
    return area + v0 * max(0.0, end_s - max(t0, start_s))


def longest_gap_s(points: list[Point], start_s: float, end_s: float) -> float:
    """The longest time within [start_s, end_s) without a point."""
    longest_s, last_s = 0.0, start_s
    for t, _ in points:
        if start_s < t < end_s:
            longest_s = max(longest_s, t - last_s)
            last_s = t
    return max(longest_s, end_s - last_s)
