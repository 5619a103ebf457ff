"""When will the current of the hold have fallen to its end?

It fades by a like factor in like times: a straight line of its logarithm, with least squares.
"""

from collections import deque
from math import log

from supervisor.guidance.forecast import Left
from supervisor.protection.slope import SlidingSlope

OVER_S = 3600.0
EVERY_S = 10.0
LEVEL_OVER_S = 60.0
LEAST_S = 900.0
SIGMAS = 2.0
EARLIEST, LATEST = 0.5, 2.0  # the knob is turned by hand, and the fading slows down
LEAST_A = 0.05
FARTHEST_S = 48 * 3600.0


class Fading:
    """Of the hold's current, second by second. ``words`` say why nothing is told."""

    def __init__(self, end_a: float, wait_s: float) -> None:
        """``wait_s``: so long the current must stay below the end before it counts."""
        self._end_a, self._wait_s, self._full_wait_s = end_a, wait_s, wait_s
        self.begin()

    def begin(self) -> None:
        """With each hold."""
        self._fit = SlidingSlope(OVER_S)
        self._newest: deque[tuple[float, float]] = deque()
        self._from_s: float | None = None
        self._next_s = 0.0
        self.left: Left | None = None
        self.words = "cannot tell yet: the hold has just begun"
        self.no_longer_falls = False

    def take(self, at_s: float, amperes: float, wait_s: float | None = None) -> None:
        """``amperes``: measuring error included. ``wait_s``: what of the waiting is left by now."""
        self._newest.append((at_s, log(max(amperes, LEAST_A))))
        while at_s - self._newest[0][0] > LEVEL_OVER_S:
            self._newest.popleft()
        if at_s < self._next_s:
            return
        self._next_s = at_s + EVERY_S
        self._from_s = at_s if self._from_s is None else self._from_s
        self._wait_s = self._full_wait_s if wait_s is None else wait_s
        self._fit.add(*self._level())
        self.left = self._look(at_s, at_s - self._from_s)

    def _level(self) -> tuple[float, float]:
        """When, and the logarithm of the current: means over some seconds."""
        n = len(self._newest)
        return sum(at_s for at_s, _ in self._newest) / n, sum(v for _, v in self._newest) / n

    def _look(self, at_s: float, watched_s: float) -> Left | None:
        self.no_longer_falls = False
        fit = self._fit.fit()
        level_at_s, level = self._level()
        now = level + (fit.slope * (at_s - level_at_s) if fit else 0.0)
        to_fall = now - log(self._end_a)
        if to_fall <= 0:
            self.words = ""
            return Left(self._wait_s, self._wait_s, 2 * self._full_wait_s)
        if fit is None or watched_s < LEAST_S:
            self.words = "cannot tell yet: the hold has just begun"
            return None
        surely = -fit.slope - SIGMAS * fit.sigma
        if surely <= 0 or to_fall / surely > FARTHEST_S:
            self.no_longer_falls = watched_s >= OVER_S
            self.words = "no forecast: the current does not fall"
            return None
        self.words = ""
        fastest = -fit.slope + SIGMAS * fit.sigma
        best_s = to_fall / -fit.slope + self._wait_s
        low_s = EARLIEST * to_fall / fastest + self._wait_s
        return Left(best_s, low_s, LATEST * to_fall / surely + self._wait_s)
