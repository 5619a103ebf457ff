"""Voltage climbing too fast near the end, or about to cross the maker's limit (function 7)."""

from supervisor.protection.debounce import Debounce
from supervisor.protection.slope import Fit, SlidingSlope
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import NAMES, amount, flaw
from supervisor.readings import Channel, Reading, Readings
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings

UNIT = "V/min"
PER_MINUTE = 60.0
SIGNIFICANT_SIGMAS = 3.0
SETTLING_S = 1.0  # after closing: the resistive step is no trend
FEWEST_S = 2.0  # of points before a slope is worth judging
FEWEST_SHARE = 0.5  # of the windows that the stretch should hold


class RateOfRiseRule:
    """The steepest cell counts. While the contactor is open nothing can run away."""

    key = "rate_of_rise"
    function = "7"
    remedy = (
        "turn the knob down before closing again; if the current was not high, look for an opened "
        "link: fewer cells take the whole current"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        self._ours = settings.protection.rate_of_rise
        self._never_above_v = settings.bank.never_above_volts
        self._window_s = settings.loop.window_s
        ours = self._ours
        self._slopes = {cell: SlidingSlope(ours.over_seconds) for cell in fitted_cells(settings)}
        self._debounce = Debounce(1, 1, ours.delay_seconds)
        self._counts_from_s = float("-inf")
        self._last = self._verdict(State.CANNOT_TELL, None, "no window of readings yet", None)

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        contactor = readings.contactor
        if not contactor.told_to_close:
            self._forget()
            self._last = self._verdict(State.CLEAR, None, "the contactor is open", None)
            return self._last
        if contactor.told_at_s + SETTLING_S != self._counts_from_s:
            self._forget()
            self._counts_from_s = contactor.told_at_s + SETTLING_S
        if readings.window and readings.window_is_new:
            self._last = self._on_window(readings.window, now_s)
        return self._last

    def _forget(self) -> None:
        for slope in self._slopes.values():
            slope.clear()
        self._debounce.reset()

    def _on_window(self, window: dict[Channel, Reading], now_s: float) -> Verdict:
        verdicts = [self._on_cell(cell, window.get(cell), now_s) for cell in self._slopes]
        steepest = max(verdicts, key=lambda v: (_RANK[v.state], v.measured or 0.0))
        if steepest.state is State.CANNOT_TELL:
            self._debounce.update(None, now_s)
            return steepest
        over = steepest.state is State.TIMING
        tripped = self._debounce.update(over, now_s)
        if steepest.state is State.TRIP or not (over or tripped):
            return steepest
        state = State.TRIP if tripped else State.TIMING
        since_s = self._debounce.since_s
        return self._verdict(state, steepest.measured, steepest.reason, since_s)

    def _on_cell(self, cell: Channel, reading: Reading | None, now_s: float) -> Verdict:
        """The verdict on one cell alone; TIMING means steeper than the limit right now."""
        volts = reading.good_value if reading else None
        if reading is None or volts is None:
            return self._verdict(State.CANNOT_TELL, None, flaw(cell, reading), now_s)
        slope = self._slopes[cell]
        if reading.taken_at_s - self._window_s >= self._counts_from_s:
            slope.add(reading.taken_at_s, volts)
        fit = slope.fit()
        per_minute = fit.slope * PER_MINUTE if fit else None
        if volts <= self._ours.above_volts:
            reason = f"{NAMES[cell]} {amount(volts, 'V')} is in the flat part"
            return self._verdict(State.CLEAR, per_minute, reason, None)
        counting_s = reading.taken_at_s - self._counts_from_s
        if counting_s < FEWEST_S:
            return self._verdict(State.CLEAR, None, "settling after closing", None)
        if fit is None or len(slope) < self._fewest_points(counting_s):
            reason = f"{NAMES[cell]}: too few readings for a slope"
            return self._verdict(State.CANNOT_TELL, per_minute, reason, now_s)
        return self._on_slope(cell, volts, fit)

    def _fewest_points(self, counting_s: float) -> float:
        stretch_s = min(counting_s, self._ours.over_seconds)
        return FEWEST_SHARE * stretch_s / self._window_s

    def _on_slope(self, cell: Channel, volts: float, fit: Fit) -> Verdict:
        per_minute = fit.slope * PER_MINUTE
        rises = f"{NAMES[cell]} at {amount(volts, 'V')} rises by {amount(per_minute, UNIT)}"
        surely = fit.slope - SIGNIFICANT_SIGMAS * fit.sigma
        left_v = self._never_above_v - volts
        if surely > 0 and fit.slope * self._ours.look_ahead_seconds >= left_v:
            limit = amount(self._never_above_v, "V")
            reason = f"{rises}: {limit} is less than {left_v / fit.slope:.1f} s away"
            return self._verdict(State.TRIP, per_minute, reason, None)
        limit = amount(self._ours.trip_volts_per_minute, UNIT)
        if surely * PER_MINUTE > self._ours.trip_volts_per_minute:
            return self._verdict(State.TIMING, per_minute, f"{rises}, above {limit}", None)
        return self._verdict(State.CLEAR, per_minute, f"not above {limit}", None)

    def _verdict(
        self, state: State, measured: float | None, reason: str, since_s: float | None
    ) -> Verdict:
        limit = self._ours.trip_volts_per_minute
        return Verdict(self.key, state, measured, limit, UNIT, since_s, reason)


_RANK = {State.CLEAR: 0, State.CANNOT_TELL: 1, State.TIMING: 2, State.TRIP: 3}
