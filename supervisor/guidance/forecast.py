"""When will the voltage reach its limit, if nobody touches the knob?

Near the end a cell's voltage leaves its flat part ever faster: its slope grows by a like factor
in like times. So the slope now, and what it was some minutes ago, tell more than the slope alone,
which promises too much time:

    left = (limit - v) / slope                        the slope stays: the latest
    left = ln(1 + growth * (limit - v) / slope) / growth      it goes on growing so

The drop that the current causes at once is taken out of the voltage first (``resistance``), so that
a turn of the knob is no slope; slopes are kept per ampere, so that the one before the turn still
tells something of the one after it.

Both are too late while the end of the flat part only begins to show: each estimate then puts the
limit sooner than the one before. So nothing is told until they have agreed for a while. An estimate
that moves the other way was too early, and may be told.
"""

from collections import deque
from math import inf, log, log1p
from typing import NamedTuple

from supervisor.guidance.turns import Turns
from supervisor.protection.slope import SlidingSlope

SLOPE_OVER_S = 120.0
LEAST_OVER_S = 30.0
GROWTH_OVER_S = 300.0
LEAST_GROWTH_OVER_S = 60.0
NOTE_EVERY_S = 10.0
SIGMAS = 3.0
LEAST_A = 1.0  # less charges nothing that a slope could be scaled by
SETTLES_S = 5.0
# How far truth may lie from it, checked on simulated banks (tests/guidance/test_forecast.py).
EARLIEST, LATEST = 0.6, 1.3
SMALLEST_GROWTH = 0.02  # over all the time it was watched: less is none
PLAIN_GROWTH = 0.05  # over GROWTH_OVER_S, and a slope that is no longer small: the end of the flat
PLAIN_LATEST_S = 3 * 3600.0  # part begins to show
OLD_S = 2.0  # at the most, when the next one is told
WIDEST = 10.0  # latest to earliest: beyond, it is no answer
FARTHEST_S = 6 * 3600.0
AGREED_FOR_S = 60.0
SOONER_SHARE, SOONER_S = 0.25, 10.0  # of the time left, and more: sooner by that is no agreement
CLOSE_S = 600.0  # even the latest is no farther, and above the flat part: told without agreement


class Left(NamedTuple):
    """Seconds until the limit: the best estimate, and the interval it lies in."""

    seconds: float
    low_s: float
    high_s: float


class _Slope(NamedTuple):
    at_s: float
    per_ampere: float
    sigma: float


class _Foretold:
    """The moments at which the limit was to come, as foretold within the last AGREED_FOR_S."""

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        self._moments: deque[tuple[float, float]] = deque()  # foretold when, and for when
        self._from_s: float | None = None
        self.span_s = 0.0

    def take(self, at_s: float, left_s: float) -> float:
        """Seconds by which the limit now comes sooner than foretold."""
        moment_s = at_s + left_s
        self._from_s = at_s if self._from_s is None else self._from_s
        self.span_s = at_s - self._from_s
        self._moments.append((at_s, moment_s))
        while at_s - self._moments[0][0] > AGREED_FOR_S:
            self._moments.popleft()
        return max(foretold_s for _, foretold_s in self._moments) - moment_s


class Forecast:
    """Of one cell, second by second. ``words`` say why nothing is told."""

    def __init__(self, limit_v: float, flat_below_v: float) -> None:
        """In the flat part, below ``flat_below_v``, a slope says nothing unless it grows."""
        self._limit_v = limit_v
        self._flat_below_v = flat_below_v
        self.words = ""
        self.begin()

    def begin(self) -> None:
        """With each closing."""
        self._fit = SlidingSlope(SLOPE_OVER_S)
        self._slopes: deque[_Slope] = deque()
        self._foretold = _Foretold()
        self._turns = Turns()
        self._turned_at_s = -inf
        self._from_s: float | None = None
        self.left: Left | None = None
        self.words = "cannot tell yet: just closed"
        self.is_level = False  # next to no current, or a voltage watched long that does not rise

    def take(self, at_s: float, volts: float, amperes: float, ohm: float) -> None:
        """One second's means; ``ohm``: what the cell answers the current with, 0 if not known."""
        if self._turns.take(amperes):
            self._turned_at_s = at_s
        if at_s - self._turned_at_s < SETTLES_S:
            self._fit.clear()
            self._from_s = None
        else:
            self._from_s = at_s if self._from_s is None else self._from_s
            self._fit.add(at_s, volts - amperes * ohm)
        self.left = self._agreed(at_s, volts, self._look(at_s, volts, amperes))

    def _look(self, at_s: float, volts: float, amperes: float) -> Left | None:
        self.is_level = False
        if volts >= self._limit_v:
            self.words = ""
            return Left(0.0, 0.0, 0.0)
        if amperes < LEAST_A:
            self.is_level = True
            self.words = "no forecast: next to no current flows"
            return None
        fit, over_s = self._fit.fit(), 0.0 if self._from_s is None else at_s - self._from_s
        if fit is None or over_s < LEAST_OVER_S:
            self.words = "cannot tell yet: the current has just changed"
            return None
        if over_s >= SLOPE_OVER_S / 2:
            self._keep(_Slope(at_s, fit.slope / amperes, fit.sigma / amperes))
        surely = fit.slope - SIGMAS * fit.sigma
        if surely <= 0:
            self.is_level = over_s >= SLOPE_OVER_S
            self.words = "no forecast: the voltage does not rise at this setting"
            return None
        return self._estimate(volts, fit.slope, surely)

    def _keep(self, slope: _Slope) -> None:
        slopes = self._slopes
        if not slopes or slope.at_s - slopes[-1].at_s >= NOTE_EVERY_S:
            slopes.append(slope)
        while slope.at_s - slopes[0].at_s > GROWTH_OVER_S:
            slopes.popleft()

    def _estimate(self, volts: float, slope: float, surely: float) -> Left | None:
        left_v = self._limit_v - volts
        latest_s = left_v / surely
        growth = self._growth()
        grows = (growth or 0.0) * GROWTH_OVER_S >= PLAIN_GROWTH
        if volts < self._flat_below_v and not (grows and latest_s < PLAIN_LATEST_S):
            self.words = "cannot tell yet: the voltage is still flat"
            return None
        if growth is None:
            best_s = left_v / slope
        else:
            turns = 1 + growth * left_v / slope
            if turns <= 0:
                self.words = "no forecast: at this setting the voltage levels off below its limit"
                return None
            best_s = log1p(growth * left_v / slope) / growth
        if best_s > FARTHEST_S:
            self.words = "cannot tell yet: the voltage is still flat"
            return None
        self.words = ""
        low_s = EARLIEST * min(best_s, left_v / slope)
        return Left(best_s, low_s, LATEST * max(latest_s, best_s))

    def _agreed(self, at_s: float, volts: float, left: Left | None) -> Left | None:
        """What may be told of this: the earliest is earlier by what the limit has come sooner."""
        if left is None or not left.high_s:
            self._foretold.clear()
            return left
        sooner_s = self._foretold.take(at_s, left.seconds)
        if left.high_s > WIDEST * left.low_s:
            self.words = "cannot tell yet: the voltage only begins to leave its flat part"
            return None
        if doubt := self._doubt(left, sooner_s):
            if volts < self._flat_below_v or left.high_s > CLOSE_S:
                self.words = f"cannot tell yet: {doubt}"
                return None
            return left._replace(low_s=0.0)  # so near, nobody waits for agreement: "within ..."
        low_s = min(left.low_s, left.seconds - sooner_s) - OLD_S
        return left._replace(low_s=max(0.0, low_s))

    def _doubt(self, left: Left, sooner_s: float) -> str:
        if self._foretold.span_s < AGREED_FOR_S:
            return "not watched for long enough"
        if sooner_s > SOONER_SHARE * left.seconds + SOONER_S:
            return "each estimate is sooner than the one before"
        return ""

    def _growth(self) -> float | None:
        """By how much the slope grows, per second and relative to itself; None: not known."""
        if len(self._slopes) < 2:
            return None
        first, last = self._slopes[0], self._slopes[-1]
        span_s = last.at_s - first.at_s
        known = first.per_ampere > SIGMAS * first.sigma and last.per_ampere > SIGMAS * last.sigma
        if span_s < LEAST_GROWTH_OVER_S or not known:
            return None
        growth = log(last.per_ampere / first.per_ampere) / span_s
        return growth if abs(growth) * span_s > SMALLEST_GROWTH else None
