"""Rate of rise (7): near the end of charge the voltage, flat for a day, runs away in minutes."""

from supervisor.protection.believed import believed
from supervisor.protection.debounce import Debounce
from supervisor.protection.rises import Rise, Rises
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import NAMES
from supervisor.readings import Channel, Reading, Readings
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings

PER_MINUTE = 60.0


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
        self._ahead_s = rule.look_ahead_seconds
        self._never_above_v = settings.bank.never_above_volts
        self._cells = fitted_cells(settings)
        self._rises = Rises(self._cells, rule.over_seconds, settings.loop.window_s)
        self._debounce = Debounce(confirm=1, of=1, delay_s=rule.delay_seconds)
        self._open = self._verdict(State.CLEAR, None, None, "the contactor is open")
        self._settling = self._verdict(State.CLEAR, None, None, "settling after closing")
        self._last = self._open

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        contactor = readings.contactor
        if not contactor.told_to_close:
            return self._open
        if self._rises.begin(contactor.told_at_s):
            self._debounce.reset()
            self._last = self._settling
        if readings.window is not None and readings.window_is_new:
            self._last = self._decide(readings.window, now_s)
        return self._last

    def _decide(self, window: dict[Channel, Reading], now_s: float) -> Verdict:
        if not self._rises.take(window):
            return self._settling
        rises: list[Rise] = []
        unknown: str | None = None
        for channel in self._cells:
            value = believed(window.get(channel))
            if value is not None and value < self._above_v:
                continue
            rise = self._rises.of(channel, window)
            if isinstance(rise, Rise):
                rises.append(rise)
            else:
                unknown = rise
        return self._judge_rises(rises, unknown, now_s)

    def _judge_rises(self, rises: list[Rise], unknown: str | None, now_s: float) -> Verdict:
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

    def _will_cross(self, rise: Rise) -> bool:
        crosses = rise.value + rise.slope * self._ahead_s >= self._never_above_v
        return crosses and rise.surely > 0

    def _crossing(self, rise: Rise) -> str:
        left_s = max(0.0, (self._never_above_v - rise.value) / rise.slope)
        return f"{self._pace(rise)} and would reach {self._never_above_v:.3f} V in {left_s:.1f} s"

    def _steep(self, rise: Rise | None, now_s: float) -> str:
        for_s = self._debounce.for_s(now_s)
        too_fast = f"faster than {self._limit * PER_MINUTE:.3f} V/min for {for_s:.1f} s"
        if rise is None:
            return f"a cell rose {too_fast}, now without a good reading"
        return f"{self._pace(rise)}, {too_fast}"

    @staticmethod
    def _pace(rise: Rise) -> str:
        per_minute = rise.slope * PER_MINUTE
        return f"{NAMES[rise.channel]} at {rise.value:.3f} V rises {per_minute:.3f} V/min"

    def _verdict(
        self, state: State, rise: Rise | None, since_s: float | None, reason: str
    ) -> Verdict:
        measured = None if rise is None else rise.slope * PER_MINUTE
        limit = self._limit * PER_MINUTE
        return Verdict(self.key, state, measured, limit, "V/min", since_s, reason)
