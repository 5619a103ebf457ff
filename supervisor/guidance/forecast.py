"""When will the voltage reach its limit, if nobody touches the knob?

Near the end a cell's voltage leaves its flat part ever faster: its slope grows by a like factor
in like times. So the slope now, and what it was some minutes ago, tell more than the slope alone,
which promises too much time:

    left = (limit - v) / slope                        the slope stays: the latest
    left = ln(1 + growth * (limit - v) / slope) / growth      it goes on growing so

The drop that the current causes at once is taken out of the voltage first (``resistance``), so that
a turn of the knob is no slope; slopes are kept per ampere, so that the one before the turn still
tells something of the one after it.
"""

from collections import deque
from math import inf, log, log1p
from typing import NamedTuple

from supervisor.protection.slope import SlidingSlope

SLOPE_OVER_S = 120.0
LEAST_OVER_S = 30.0
GROWTH_OVER_S = 300.0
LEAST_GROWTH_OVER_S = 60.0
NOTE_EVERY_S = 10.0
SIGMAS = 3.0
LEAST_A = 1.0  # less charges nothing that a slope could be scaled by
STEP_A, STEP_SHARE = 1.0, 0.05  # of the current: more within a few seconds is a turn of the knob
SETTLES_S = 5.0
# How far truth may lie from it, checked on simulated banks (tests/guidance/test_forecast.py).
EARLIEST, LATEST = 0.6, 1.3
SMALLEST_GROWTH = 0.02  # over all the time it was watched: less is none
PLAIN_GROWTH = 0.05  # over GROWTH_OVER_S, and a slope that is no longer small: the end of the flat
PLAIN_LATEST_S = 3 * 3600.0  # part begins to show
WIDEST = 8.0  # latest to estimate: beyond, nobody can tell yet
FARTHEST_S = 6 * 3600.0


class Left(NamedTuple):
    """Seconds until the limit: the best estimate, and the interval it lies in."""

    seconds: float
    low_s: float
    high_s: float


class _Slope(NamedTuple):
    at_s: float
    per_ampere: float
    sigma: float


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
        self._level_a: float | None = None
        self._turned_at_s = -inf
        self._from_s: float | None = None
        self.left: Left | None = None
        self.words = "cannot tell yet: just closed"

    def take(self, at_s: float, volts: float, amperes: float, ohm: float) -> None:
        """One second's means; ``ohm``: what the cell answers the current with, 0 if not known."""
        self._note_turns(at_s, amperes)
        if at_s - self._turned_at_s < SETTLES_S:
            self._fit.clear()
            self._from_s = None
        else:
            self._from_s = at_s if self._from_s is None else self._from_s
            self._fit.add(at_s, volts - amperes * ohm)
        self.left = self._look(at_s, volts, amperes)

    def _note_turns(self, at_s: float, amperes: float) -> None:
        level_a = amperes if self._level_a is None else self._level_a
        if abs(amperes - level_a) > max(STEP_A, STEP_SHARE * abs(level_a)):
            self._turned_at_s = at_s
            level_a = amperes
        self._level_a = level_a + (amperes - level_a) / SETTLES_S

    def _look(self, at_s: float, volts: float, amperes: float) -> Left | None:
        if volts >= self._limit_v:
            self.words = ""
            return Left(0.0, 0.0, 0.0)
        if amperes < LEAST_A:
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
        if latest_s > WIDEST * best_s or best_s > FARTHEST_S:
            self.words = "cannot tell yet: the voltage is still flat"
            return None
        self.words = ""
        low_s = EARLIEST * min(best_s, left_v / slope)
        return Left(best_s, low_s, LATEST * max(latest_s, best_s))

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
