"""Least-squares slope over the last stretch of time, with its standard uncertainty."""

from collections import deque
from math import sqrt
from typing import NamedTuple

FEWEST_POINTS = 3  # two always lie on a line and say nothing of the noise
PER_SECOND = 1_000_000  # times are kept in whole microseconds,
PER_UNIT = 1_000_000_000  # values in whole billionths (nanovolts): sums of integers never drift


class Fit(NamedTuple):
    """A straight line: slope per second, and its standard uncertainty from the residuals."""

    slope: float
    sigma: float


class SlidingSlope:
    """Keeps the points of the last ``over_s`` seconds and their sums: cheap however many."""

    def __init__(self, over_s: float) -> None:
        self._over = round(over_s * PER_SECOND)
        self.clear()

    def clear(self) -> None:
        self._points: deque[tuple[int, int]] = deque()
        self._origin: tuple[int, int] | None = None
        self._t = self._v = self._tt = self._tv = self._vv = 0

    def __len__(self) -> int:
        return len(self._points)

    def add(self, at_s: float, value: float) -> None:
        """Take a point. One that is not later than the last is left out."""
        t, v = round(at_s * PER_SECOND), round(value * PER_UNIT)
        if self._origin is None:
            self._origin = (t, v)
        point = (t - self._origin[0], v - self._origin[1])
        if self._points and point[0] <= self._points[-1][0]:
            return
        self._points.append(point)
        self._count(point, +1)
        while point[0] - self._points[0][0] >= self._over:
            self._count(self._points.popleft(), -1)

    def fit(self) -> Fit | None:
        """The line through the points kept, None while there are too few."""
        n = len(self._points)
        if n < FEWEST_POINTS:
            return None
        tt = n * self._tt - self._t * self._t  # each n times the sum of squares about the mean
        tv = n * self._tv - self._t * self._v
        vv = n * self._vv - self._v * self._v
        residual = max(0, vv * tt - tv * tv) / tt  # n times the sum of squared residuals
        scale = PER_SECOND / PER_UNIT
        return Fit(tv / tt * scale, sqrt(residual / (n - 2) / tt) * scale)

    def _count(self, point: tuple[int, int], sign: int) -> None:
        t, v = point
        self._t += sign * t
        self._v += sign * v
        self._tt += sign * t * t
        self._tv += sign * t * v
        self._vv += sign * v * v
