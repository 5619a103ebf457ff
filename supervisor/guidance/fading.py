"""When will the current of the hold have fallen to its end?

It fades by a like factor in like times: a straight line of its logarithm, with least squares.
"""

from math import log

from supervisor.guidance.forecast import Left
from supervisor.protection.slope import SlidingSlope

OVER_S = 3600.0
EVERY_S = 10.0
LEAST_S = 900.0
SIGMAS = 2.0
EARLIEST, LATEST = 0.5, 2.0  # the knob is turned by hand, and the fading slows down
LEAST_A = 0.05
FARTHEST_S = 48 * 3600.0


class Fading:
    """Of the hold's current, second by second. ``words`` say why nothing is told."""

    def __init__(self, end_a: float, wait_s: float) -> None:
        """``wait_s``: so long the current must stay below the end before it counts."""
        self._end_a, self._wait_s = end_a, wait_s
        self.begin()

    def begin(self) -> None:
        """With each hold."""
        self._fit = SlidingSlope(OVER_S)
        self._from_s: float | None = None
        self._next_s = 0.0
        self.left: Left | None = None
        self.words = "cannot tell yet: the hold has just begun"
        self.no_longer_falls = False

    def take(self, at_s: float, amperes: float) -> None:
        if at_s < self._next_s:
            return
        self._next_s = at_s + EVERY_S
        self._from_s = at_s if self._from_s is None else self._from_s
        self._fit.add(at_s, log(max(amperes, LEAST_A)))
        self.left = self._look(at_s - self._from_s, amperes)

    def _look(self, watched_s: float, amperes: float) -> Left | None:
        self.no_longer_falls = False
        if amperes <= self._end_a:
            self.words = ""
            return Left(self._wait_s, 0.0, 2 * self._wait_s)
        fit = self._fit.fit()
        if fit is None or watched_s < LEAST_S:
            self.words = "cannot tell yet: the hold has just begun"
            return None
        surely = -fit.slope - SIGMAS * fit.sigma
        to_fall = log(amperes / self._end_a)
        if surely <= 0 or to_fall / surely > FARTHEST_S:
            self.no_longer_falls = watched_s >= OVER_S
            self.words = "no forecast: the current does not fall"
            return None
        self.words = ""
        fastest = -fit.slope + SIGMAS * fit.sigma
        best_s = to_fall / -fit.slope + self._wait_s
        low_s = EARLIEST * to_fall / fastest + self._wait_s
        return Left(best_s, low_s, LATEST * to_fall / surely + self._wait_s)
