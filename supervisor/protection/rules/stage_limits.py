"""Limits of one stage of the charge: less current while the voltage climbs and while it is held."""

from typing import NamedTuple

from supervisor.protection.believed import believed
from supervisor.protection.charge_stage import ChargeStage
from supervisor.protection.debounce import Debounce
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import amount, beside, flaw
from supervisor.readings import Channel, Reading, Readings
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Stage


class _Limit(NamedTuple):
    """A limit that counts now, on some channels of one unit."""

    channels: tuple[Channel, ...]
    value: float
    unit: str


class StageLimitsRule:
    """A definite time on each limit of the present stage; the one nearest to a trip is told.

    The taper's limit on the current counts in the hold as well, unless the hold has its own. A
    limit that comes into force with a stage leaves its delay to turn the knob down.
    """

    key = "stage_limits"
    function = "76, 59"
    remedy = (
        "close again with the knob lower: so near the end the bank takes less, and what is more "
        "only raises the voltage; watch it for some minutes before you leave it alone"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.stage_limits
        assert rule is not None
        cells, shunt = fitted_cells(settings), (Channel.SHUNT,)
        taper_a = rule.taper.trip_amperes if rule.taper else None
        hold_a = (rule.hold.trip_amperes if rule.hold else None) or taper_a
        hold_v = rule.hold.trip_volts if rule.hold else None
        self._limits = {
            Stage.TAPER: [_Limit(shunt, taper_a, "A")] if taper_a else [],
            Stage.HOLD: [
                _Limit(channels, value, unit)
                for channels, value, unit in ((shunt, hold_a, "A"), (cells, hold_v, "V"))
                if value is not None
            ],
        }
        self._debounces = {
            unit: Debounce(rule.confirm, rule.of, rule.delay_seconds) for unit in ("A", "V")
        }
        self._stage = ChargeStage(settings)
        self._judged = Stage.NONE
        self._shown = next(limits[0] for limits in self._limits.values() if limits)
        self._last = self._verdict(State.CLEAR, self._shown, None, "the contactor is open")

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        before = self._stage.stage
        stage = self._stage.take(readings, now_s)
        if stage is not before or (readings.window is not None and readings.window_is_new):
            is_open = not readings.contactor.told_to_close
            no_stage = "the contactor is open" if is_open else "no voltage tells the stage yet"
            self._last = self._decide(stage, readings.window or {}, now_s, no_stage)
        return self._last

    def _decide(
        self, stage: Stage, window: dict[Channel, Reading], now_s: float, no_stage: str
    ) -> Verdict:
        limits = self._limits.get(stage, [])
        self._forget(stage)
        if not limits:
            where = no_stage if stage is Stage.NONE else f"{stage.value}: no limit"
            return self._verdict(State.CLEAR, self._shown, None, where)
        found = [self._compare(stage, limit, window, now_s) for limit in limits]
        return max(found, key=lambda verdict: (SEVERITY[verdict.state], -(_room(verdict) or 0.0)))

    def _forget(self, stage: Stage) -> None:
        """In another stage each limit's time begins anew, except on the way up: there the limits
        only become tighter, and what was too much is too much still."""
        is_up = (self._judged, stage) == (Stage.TAPER, Stage.HOLD)
        if stage is not self._judged and not is_up:
            for debounce in self._debounces.values():
                debounce.reset()
        self._judged = stage

    def _compare(
        self, stage: Stage, limit: _Limit, window: dict[Channel, Reading], now_s: float
    ) -> Verdict:
        values = {channel: believed(window.get(channel)) for channel in limit.channels}
        known = {channel: value for channel, value in values.items() if value is not None}
        worst = max(known, key=lambda channel: known[channel], default=None)
        value = None if worst is None else known[worst]
        unknown = next((channel for channel, v in values.items() if v is None), None)
        past = value is not None and value > limit.value
        debounce = self._debounces[limit.unit]
        debounce.update(True if past else (None if unknown else False), now_s)
        if worst is not None and value is not None and debounce.since_s is not None:
            words = (
                f"{worst.words} {beside(value, limit.value, limit.unit)}: in the {stage.value} "
                f"above {amount(limit.value, limit.unit)} for {debounce.for_s(now_s):.1f} s"
            )
        else:
            words = f"in the {stage.value} above {amount(limit.value, limit.unit)}"
        if debounce.is_tripped:
            return self._verdict(State.TRIP, limit, value, words)
        if unknown is not None:
            reason = f"no good reading, {flaw(unknown, window.get(unknown))}"
            return self._verdict(State.CANNOT_TELL, limit, value, reason)
        if debounce.since_s is not None:
            return self._verdict(State.TIMING, limit, value, words)
        clear = f"{stage.value}: not above {amount(limit.value, limit.unit)}"
        return self._verdict(State.CLEAR, limit, value, clear)

    def _verdict(self, state: State, limit: _Limit, value: float | None, reason: str) -> Verdict:
        times = state in (State.TIMING, State.TRIP)
        since_s = self._debounces[limit.unit].since_s if times else None
        return Verdict(self.key, state, value, limit.value, limit.unit, since_s, reason)


SEVERITY = {State.CLEAR: 0, State.TIMING: 1, State.CANNOT_TELL: 2, State.TRIP: 3}


def _room(verdict: Verdict) -> float | None:
    """What is left to the limit, as a share of it."""
    return None if verdict.measured is None else 1 - verdict.measured / verdict.limit
