"""A current that does not show: the bank is being charged, and the shunt reads nothing.

A shunt pair that is open or shorted reads 0 A, as no current does. But less than 1 A for 10 minutes
is less than 0.17 Ah, and cannot move a bank by 10 mV.
"""

from collections import deque
from typing import NamedTuple

from supervisor.protection.sensing.check import KEY
from supervisor.protection.sensing.stretches import Stretch, Stretches
from supervisor.protection.slope import SlidingSlope
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import Readings
from supervisor.settings.model import Bank, SupervisorSettings

STRETCH_S = 2.0
OVER_S = 600.0
RISE_V = 0.010
# A small bank does move by so little: at the steep end 31.5 V per unit of charge (BPX LFP example
# set, 0.99 to 1.00), and thrice that, for an offset as large again and what is steeper beyond.
STEEPEST_V = 31.5
MARGIN = 3.0
SECONDS_PER_HOUR = 3600.0

REMEDY = (
    "look at the shunt's two sense wires and their small screws: off, broken, or touching each "
    "other; before closing again, compare the current with a clamp meter"
)


class _Point(NamedTuple):
    at_s: float
    volts: float


class SilentShunt:
    """Trips when the front cell has risen within 10 minutes as no unseen current could make it.

    The rise counts from the lowest mean of 2 s since the current was last seen; the last one
    before closing included. A cell that rose before closing, as others fed it, may go on at that
    pace. ``measured`` and ``limit`` are the rise, in V.
    """

    def __init__(self, settings: SupervisorSettings) -> None:
        self._zero_a = settings.protection.sensing.zero_amperes
        self._unseen_ah = self._zero_a * OVER_S / SECONDS_PER_HOUR
        self._allowed_v = allowed_rise_v(settings.bank, self._unseen_ah)
        self._stretches = Stretches(STRETCH_S, settings.loop.window_s)
        self._points: deque[_Point] = deque()
        self._before = SlidingSlope(OVER_S)  # closing
        self._told_at_s: float | None = None
        self._last: Verdict | None = None

    def judge(self, readings: Readings, now_s: float) -> Verdict | None:  # noqa: ARG002  (a Check)
        contactor = readings.contactor
        if contactor.told_at_s != self._told_at_s:
            self._told_at_s = contactor.told_at_s
            self._begin(closed=contactor.told_to_close)
        stretch = self._stretches.take(readings)
        if stretch is not None:
            self._last = self._look(stretch, closed=contactor.told_to_close)
        return self._last

    def _begin(self, *, closed: bool) -> None:
        self._last = None
        if not closed:
            self._before.clear()
        elif self._points:
            self._points = deque([self._points[-1]])

    def _look(self, stretch: Stretch, *, closed: bool) -> Verdict | None:
        if max(-stretch.low_a, stretch.high_a) >= self._zero_a:
            self._points.clear()
            return None
        self._points.append(_Point(stretch.at_s, stretch.volts))
        while stretch.at_s - self._points[0].at_s > OVER_S:
            self._points.popleft()
        if not closed:
            self._before.add(stretch.at_s, stretch.volts)
            return None
        return self._judge(stretch)

    def _judge(self, new: Stretch) -> Verdict | None:
        lowest = min(self._points, key=lambda point: point.volts)
        rise_v, for_s = new.volts - lowest.volts, new.at_s - lowest.at_s
        allowed_v = self._allowed_v + self._pace_before() * for_s
        if rise_v <= allowed_v:
            return None
        reason = (
            f"front cell has risen by {rise_v * 1000:.1f} mV in {for_s / 60:.1f} min while less "
            f"than {self._zero_a:.1f} A were read; that is less than {self._unseen_ah:.2f} Ah in "
            "10 min, which cannot move this bank so: a current flows that does not show"
        )
        return Verdict(KEY, State.TRIP, rise_v, allowed_v, "V", lowest.at_s, reason, REMEDY)

    def _pace_before(self) -> float:
        """How fast it rose by itself while open, V/s."""
        fit = self._before.fit()
        return 0.0 if fit is None else max(0.0, fit.slope)


def allowed_rise_v(bank: Bank, unseen_ah: float) -> float:
    """The most that this bank can rise by a charge that is not seen."""
    return max(RISE_V, MARGIN * STEEPEST_V * unseen_ah / bank.rating_ah)
