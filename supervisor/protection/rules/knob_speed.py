"""Knob speed (7): current or voltage comes up faster than anybody can follow."""

from supervisor.protection.rises import Rise, Rises
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import NAMES, amount, beside
from supervisor.readings import Channel, Reading, Readings
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings


class KnobSpeedRule:
    """Least-squares slopes of the current and of every cell, while the contactor is closed.

    Trips when one of them, its noise taken off, is steeper than its limit; it is timing while one
    is steeper that may be noise yet. ``measured`` and ``limit`` are those of the worst by its share
    of the limit, in A/s or V/s.
    """

    key = "knob_speed"
    function = "7"
    remedy = (
        "turn the knob down before closing again, and bring it up slowly, with your eyes on "
        "current and voltage; if nobody touched it, look for mains that came back after a dip, for "
        "a sense lead with a bad joint, or for a link that opened"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.knob_speed
        assert rule is not None
        self._limits = {Channel.SHUNT: rule.trip_amperes_per_second} | dict.fromkeys(
            fitted_cells(settings), rule.trip_volts_per_second
        )
        self._rises = Rises(self._limits, rule.over_seconds, settings.loop.window_s)
        self._since_s: float | None = None
        self._open = self._verdict(State.CLEAR, None, "the contactor is open")
        self._settling = self._verdict(State.CLEAR, None, "settling after closing")
        self._last = self._open

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        contactor = readings.contactor
        if not contactor.told_to_close:
            return self._open
        if self._rises.begin(contactor.told_at_s):
            self._since_s = None
            self._last = self._settling
        if readings.window is not None and readings.window_is_new:
            self._last = self._decide(readings.window, now_s)
        return self._last

    def _decide(self, window: dict[Channel, Reading], now_s: float) -> Verdict:
        if not self._rises.take(window):
            return self._settling
        looks = [self._rises.of(channel, window) for channel in self._limits]
        rises = [look for look in looks if isinstance(look, Rise)]
        unknown = next((look for look in looks if isinstance(look, str)), None)
        steepest = max(rises, key=self._share, default=None)
        too_steep = steepest is not None and self._share(steepest) > 1
        self._time(True if too_steep else (None if unknown else False), now_s)

        surest = max(rises, key=self._sure_share, default=None)
        if surest is not None and self._sure_share(surest) > 1:
            return self._verdict(State.TRIP, surest, self._too_fast(surest))
        if unknown is not None:
            return self._verdict(State.CANNOT_TELL, steepest, unknown)
        if steepest is not None and too_steep:
            reason = f"{self._too_fast(steepest)}, if it is no noise"
            return self._verdict(State.TIMING, steepest, reason)
        return self._verdict(State.CLEAR, steepest, "nothing rises too fast")

    def _time(self, too_steep: bool | None, now_s: float) -> None:
        """Since when something is too steep; None, not known, changes nothing."""
        if too_steep is False:
            self._since_s = None
        elif too_steep and self._since_s is None:
            self._since_s = now_s

    def _share(self, rise: Rise) -> float:
        """Of its limit."""
        return rise.slope / self._limits[rise.channel]

    def _sure_share(self, rise: Rise) -> float:
        """The same, noise taken off."""
        return rise.surely / self._limits[rise.channel]

    def _too_fast(self, rise: Rise) -> str:
        limit, unit = self._limits[rise.channel], f"{rise.channel.unit}/s"
        return (
            f"{NAMES[rise.channel]} at {amount(rise.value, rise.channel.unit)} rises "
            f"{beside(rise.slope, limit, unit)}, faster than {amount(limit, unit)}"
        )

    def _verdict(self, state: State, rise: Rise | None, reason: str) -> Verdict:
        channel = Channel.SHUNT if rise is None else rise.channel
        measured = None if rise is None else rise.slope
        limit, unit = self._limits[channel], f"{channel.unit}/s"
        since_s = self._since_s if state in (State.TIMING, State.TRIP) else None
        return Verdict(self.key, state, measured, limit, unit, since_s, reason)
