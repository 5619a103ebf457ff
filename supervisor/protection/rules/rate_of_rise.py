"""Rate of rise (7): near the end of charge the voltage, flat for a day, runs away in minutes."""

from typing import NamedTuple

from supervisor.protection.believed import believed
from supervisor.protection.debounce import Debounce
from supervisor.protection.slope import SlidingSlope
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import NAMES, flaw
from supervisor.readings import Channel, Reading, Readings
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings

AFTER_CLOSING_S = 1.0  # the step over the cells' resistance is no rise
SETTLING_S = 2.0  # of counted windows, before a slope is worth judging
FEWEST_SHARE = 0.5  # of the points expected
SIGNIFICANT_SIGMAS = 3.0
PER_MINUTE = 60.0


class _Rise(NamedTuple):
    """One cell near the end of charge: its slope and the slope's standard uncertainty, V/s."""

    channel: Channel
    value_v: float
    slope: float
    sigma: float

    @property
    def surely(self) -> float:
        """The slope, less its noise."""
        return self.slope - SIGNIFICANT_SIGMAS * self.sigma


class RateOfRiseRule:
    """Least-squares slope of each cell's means, while the contactor is closed.

    Trips when a cell above ``above_volts`` rises faster than the limit for the delay; and at once
    when, at the present slope, it would come to ``never_above_volts`` within the look-ahead.
    ``measured`` and ``limit`` are in V/min.
    """

    key = "rate_of_rise"
    function = "7"
    remedy = (
        "turn the knob down before closing again; if the current was not high, look for an opened "
        "link: fewer cells take the whole current"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.rate_of_rise
        self._limit = rule.trip_volts_per_minute / PER_MINUTE
        self._above_v = rule.above_volts
        self._over_s = rule.over_seconds
        self._ahead_s = rule.look_ahead_seconds
        self._never_above_v = settings.bank.never_above_volts
        self._window_s = settings.loop.window_s
        self._slopes = {c: SlidingSlope(rule.over_seconds) for c in fitted_cells(settings)}
        self._debounce = Debounce(confirm=1, of=1, delay_s=rule.delay_seconds)
        self._closed_at_s: float | None = None
        self._open = self._verdict(State.CLEAR, None, None, "the contactor is open")
        self._settling = self._verdict(State.CLEAR, None, None, "settling after closing")
        self._last = self._open

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        contactor = readings.contactor
        if not contactor.told_to_close:
            self._closed_at_s = None
            return self._open
        if contactor.told_at_s != self._closed_at_s:
            self._start(contactor.told_at_s)
        if readings.window is not None and readings.window_is_new:
            self._last = self._decide(readings.window, now_s)
        return self._last

    def _start(self, closed_at_s: float) -> None:
        self._closed_at_s = closed_at_s
        self._debounce.reset()
        for slope in self._slopes.values():
            slope.clear()
        self._last = self._settling

    def _decide(self, window: dict[Channel, Reading], now_s: float) -> Verdict:
        counted_s = self._counted_s(window)
        if counted_s >= self._window_s:
            self._collect(window)
        if counted_s < SETTLING_S:
            return self._settling
        rises: list[_Rise] = []
        unknown: str | None = None
        for channel, slope in self._slopes.items():
            value = believed(window.get(channel))
            if value is None:
                unknown = f"no good reading, {flaw(channel, window.get(channel))}"
            elif value >= self._above_v:
                fit = slope.fit()
                if fit is None or len(slope) < self._fewest(counted_s):
                    unknown = f"too few good means of the {NAMES[channel]} for a slope"
                else:
                    rises.append(_Rise(channel, value, *fit))
        return self._judge_rises(rises, unknown, now_s)

    def _counted_s(self, window: dict[Channel, Reading]) -> float:
        """Time from the first window that counts to the end of this one."""
        ends_at_s = max(reading.taken_at_s for reading in window.values())
        return ends_at_s - (self._closed_at_s or 0.0) - AFTER_CLOSING_S

    def _fewest(self, counted_s: float) -> float:
        return FEWEST_SHARE * min(counted_s, self._over_s) / self._window_s

    def _collect(self, window: dict[Channel, Reading]) -> None:
        for channel, slope in self._slopes.items():
            value = believed(window.get(channel))
            if value is not None:
                slope.add(window[channel].taken_at_s, value)

    def _judge_rises(self, rises: list[_Rise], unknown: str | None, now_s: float) -> Verdict:
        steepest = max(rises, key=lambda rise: rise.surely, default=None)
        steep = steepest is not None and steepest.surely > self._limit
        self._debounce.update(True if steep else (None if unknown else False), now_s)
        since_s = self._debounce.since_s

        for rise in rises:
            if self._will_cross(rise):
                return self._verdict(State.TRIP, rise, now_s, self._crossing(rise))
        if self._debounce.is_tripped:
            return self._verdict(State.TRIP, steepest, since_s, self._steep(steepest, now_s))
        if unknown is not None:
            return self._verdict(State.CANNOT_TELL, steepest, None, unknown)
        if since_s is not None:
            return self._verdict(State.TIMING, steepest, since_s, self._steep(steepest, now_s))
        if steepest is None:
            reason = f"every cell is below {self._above_v:.3f} V"
            return self._verdict(State.CLEAR, None, None, reason)
        return self._verdict(State.CLEAR, steepest, None, "no cell rises too fast")

    def _will_cross(self, rise: _Rise) -> bool:
        crosses = rise.value_v + rise.slope * self._ahead_s >= self._never_above_v
        return crosses and rise.surely > 0

    def _crossing(self, rise: _Rise) -> str:
        left_s = max(0.0, (self._never_above_v - rise.value_v) / rise.slope)
        return f"{self._rises(rise)} and would reach {self._never_above_v:.3f} V in {left_s:.1f} s"

    def _steep(self, rise: _Rise | None, now_s: float) -> str:
        since_s = self._debounce.since_s
        for_s = 0.0 if since_s is None else now_s - since_s
        too_fast = f"faster than {self._limit * PER_MINUTE:.3f} V/min for {for_s:.1f} s"
        if rise is None:
            return f"a cell rose {too_fast}, now without a good reading"
        return f"{self._rises(rise)}, {too_fast}"

    @staticmethod
    def _rises(rise: _Rise) -> str:
        pace = rise.slope * PER_MINUTE
        return f"{NAMES[rise.channel]} at {rise.value_v:.3f} V rises {pace:.3f} V/min"

    def _verdict(
        self, state: State, rise: _Rise | None, since_s: float | None, reason: str
    ) -> Verdict:
        measured = None if rise is None else rise.slope * PER_MINUTE
        limit = self._limit * PER_MINUTE
        return Verdict(self.key, state, measured, limit, "V/min", since_s, reason)
