"""The second pair of eyes: stage, forecast, cues, the end, the rest after it. Fed by the loop.

Pure, as the rules are. It can ask for two things: that the circuit be opened because the bank is
full, or because a pulse of a pulsed hold has ended; and, of a pulsed hold, that it close again. The
guard carries that out, and closes only what every rule lets close.
"""

from collections.abc import Iterable, Mapping, Sequence
from enum import Enum
from math import inf

from supervisor.guidance.advice import advice
from supervisor.guidance.cues import Cue, Situation, cues
from supervisor.guidance.forecast import Left
from supervisor.guidance.pulses import Pulses
from supervisor.guidance.rest_check import RestCheck
from supervisor.guidance.seconds import Second, Seconds
from supervisor.guidance.tally import Tally
from supervisor.guidance.to_full import ToFull
from supervisor.guidance.to_limit import ToLimit
from supervisor.guidance.turns import Turns
from supervisor.guidance.words import between, span, when
from supervisor.protection.charge_stage import ChargeStage
from supervisor.protection.sensing.knob_steps import KnobSteps
from supervisor.protection.session import SECONDS_PER_HOUR
from supervisor.protection.verdict import Verdict
from supervisor.readings import Readings
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Circuit, CueView, ForecastView, GuidanceView, Stage

MICRO = 1e-6
EASING = {"ease_down", "too_fast", "creeps"}
A_WEEK_H = 168.0  # beyond that nobody waits by the hour
OLD_S = 3.0  # a second's means are told no longer


class Order(Enum):
    """What the guide asks of the guard."""

    NONE = "none"
    FINISH = "finish"  # full
    PAUSE = "pause"  # a pulse has ended
    RESUME = "resume"  # the next may begin
    END = "end"  # no further pulse: open for good


class Guide:
    """Of one circuit. ``take`` in every cycle; what it says changes once a second."""

    def __init__(self, settings: SupervisorSettings) -> None:
        charge = settings.charge
        assert charge is not None
        self._charge = charge
        balance = settings.protection.balance
        self._bars_ohm = balance.bars_microohms * MICRO if balance else 0.0
        self._rating_ah = settings.bank.rating_ah
        self._seconds = Seconds(settings)
        self._stage = ChargeStage(settings)
        self._steps = KnobSteps(settings)
        self._to_limit = ToLimit(settings, charge)
        full = charge.full
        self._full = ToFull(settings, full) if full else None
        self.tally = Tally(settings)
        self._pulses = (
            Pulses(charge.pulsed_hold, full.end_amperes, 60 * full.minutes, self.tally.pulses)
            if full and charge.pulsed_hold
            else None
        )
        self._second: Second | None = None
        self._circuit = Circuit.OPEN
        self._shown_stage, self._stage_since_s = Stage.NONE, 0.0
        self._rest: RestCheck | None = None
        self._finished_because = self._pulses_ended_because = ""
        self._cues: list[Cue] = []
        self._cues_at_s = -inf
        self._uneasy_at_s = -inf  # told to ease down, or the current was changed
        self._is_resuming = False
        self._turns = Turns()
        limits = settings.protection.stage_limits
        taper = limits.taper if limits else None
        self._stage_trip_a = {Stage.TAPER: taper.trip_amperes} if taper else {}

    # --- in every cycle

    def take(
        self, readings: Readings, verdicts: Iterable[Verdict], circuit: Circuit, now_s: float
    ) -> Order:
        """What the guide asks for. ``circuit`` is as the guard has it after this cycle."""
        self._follow_circuit(circuit, now_s)
        self._stage.take(readings, now_s)
        if self.stage is not self._shown_stage:
            self._shown_stage, self._stage_since_s = self.stage, now_s
        self._steps.take(readings)
        second = None
        if readings.window_is_new:
            self.tally.take(readings, now_s)
            second = self._seconds.take(readings)
        order = Order.NONE if second is None else self._take_second(second, circuit, now_s)
        if second is not None or now_s - self._cues_at_s > OLD_S:  # else they outlast what is known
            self._look_for_cues(verdicts, now_s)
        return order

    def _take_second(self, second: Second, circuit: Circuit, now_s: float) -> Order:
        self._second = second
        if circuit is Circuit.CLOSED:
            self._charge_on(second, now_s)
        elif self._rest is not None:
            self._rest.take(second)
        return self._order(second, circuit, now_s)

    def _look_for_cues(self, verdicts: Iterable[Verdict], now_s: float) -> None:
        self._cues = cues(self._situation({v.rule: v for v in verdicts}, now_s))
        self._cues_at_s = now_s
        if any(cue.name in EASING for cue in self._cues):
            self._uneasy_at_s = now_s

    def resumed(self) -> None:
        """The guard has carried out RESUME. Any other closing is one that somebody asked for."""
        self._is_resuming = True

    @property
    def cues(self) -> Sequence[Cue]:
        """The newest, the most urgent first."""
        return self._cues

    # --- the circuit

    def _follow_circuit(self, circuit: Circuit, now_s: float) -> None:
        before, self._circuit = self._circuit, circuit
        if before is circuit:
            return
        self._cues = []  # they were of the circuit before
        if circuit is Circuit.CLOSED:
            self._begin(now_s, anew=not self._is_resuming)
        elif circuit is Circuit.PAUSED and self._pulses:
            self._pulses.opened(now_s)
        elif circuit is Circuit.FINISHED:
            self._rest = RestCheck(self._charge.rest, now_s)
        elif circuit is Circuit.LOCKED_OUT:
            self._rest = None
        self._is_resuming = False

    def _begin(self, now_s: float, *, anew: bool) -> None:
        self._rest, self._finished_because, self._pulses_ended_because = None, "", ""
        self._uneasy_at_s, self._turns = now_s, Turns()
        self._to_limit.begin(anew=anew)
        if self._full:
            self._full.begin(anew=anew)
        if anew:
            self._steps.clear()
        if self._pulses:
            if anew:
                self._pulses.begin()
            self._pulses.closed(now_s)

    # --- every second

    def _charge_on(self, second: Second, now_s: float) -> None:
        if self._turns.take(second.amperes):
            self._uneasy_at_s = now_s
        self._to_limit.take(second, self._resistance()[0] or 0.0, now_s)
        if self._full:
            self._full.take(second, self.tally, now_s, is_hold=self.stage is Stage.HOLD)

    def _order(self, second: Second, circuit: Circuit, now_s: float) -> Order:
        if circuit is Circuit.CLOSED:
            if self._full and self._full.completion.reason:
                self._finished_because = self._full.completion.reason
                return Order.FINISH
            if self._pulses and (why := self._pulses.wants_to_open(second, self.stage)):
                self._finished_because = why
                return Order.PAUSE
        if circuit is Circuit.PAUSED and self._pulses and self._full:
            may_close = self._pulses.may_close(second, now_s)
            lacks = list(self._full.completion.lacks_of_the_bank(second, self.tally.charge_ah))
            if self._pulses.is_full and not lacks:
                self._finished_because = "pulsed hold: next to nothing flows on the average"
                return Order.FINISH
            if may_close:
                return Order.RESUME
            if self._pulses.ended:
                not_full = f"; not full: {'; '.join(lacks)}" if lacks else ""
                self._finished_because = f"pulsed hold ended: {self._pulses.ended}{not_full}"
                self._pulses_ended_because = self._finished_because
                return Order.END
        return Order.NONE

    @property
    def because(self) -> str:
        """Why the last order was given."""
        return self._finished_because

    @property
    def stage(self) -> Stage:
        if self._circuit is Circuit.FINISHED or self._rest is not None:
            return Stage.REST
        under_way = self._pulses is not None and self._pulses.is_under_way
        if under_way and self._circuit in (Circuit.CLOSED, Circuit.PAUSED):
            return Stage.HOLD
        return self._stage.stage

    def _resistance(self) -> tuple[float | None, float | None]:
        return self._steps.answer() if len(self._steps) else (None, None)

    def _situation(self, verdicts: Mapping[str, Verdict], now_s: float) -> Situation:
        full, to_limit = self._full, self._to_limit
        view = full.completion.view() if full else None
        flow = full.completion.flow if full else None
        return Situation(
            charge=self._charge,
            circuit=self._circuit,
            stage=self.stage,
            stage_for_s=now_s - self._stage_since_s,
            second=self._fresh(now_s),
            bars_ohm=self._bars_ohm,
            verdicts=verdicts,
            to_limit=to_limit.left,
            calm_for_s=now_s - self._uneasy_at_s,
            has_neared=to_limit.has_neared,
            level_for_s=to_limit.level_for_s(now_s),
            after_turn_v=self._after_turn_v(),
            has_stopped=flow is not None and flow.has_stopped,
            has_flowed=flow is not None and flow.has_flowed,
            shown=frozenset(cue.name for cue in self._cues),
            stage_trip_a=self._stage_trip_a.get(self.stage),
            full_met_s=view.for_s if view else 0.0,
            small_for_s=full.small_for_s(now_s) if full else 0.0,
            current_no_longer_falls=full is not None and full.fading.no_longer_falls,
            missing=view.missing if view else (),
            finished_because=self._finished_because,
            pulses_ended_because=self._pulses_ended_because,
            rest=self._rest.view() if self._rest else None,
        )

    def _after_turn_v(self) -> float | None:
        """Of the highest cell, if the current went up to its target at once."""
        ohm, second = self._resistance()[0], self._second
        if ohm is None or second is None:
            return None
        return second.highest_v + max(0.0, self._charge.target_amperes - second.amperes) * ohm

    def _fresh(self, now_s: float) -> Second | None:
        second = self._second
        return second if second and now_s - second.at_s <= OLD_S else None

    # --- shown

    def view(self, now_s: float) -> GuidanceView:
        second, closed = self._fresh(now_s), self._circuit is Circuit.CLOSED
        ohm, u_ohm = self._resistance()
        measured_v = second.highest_v if second else None
        at_rest_v = None
        if second and ohm is not None:
            at_rest_v = second.highest_v - max(second.amperes, 0.0) * ohm
        left, words = self._to_limit.left, self._to_limit.words
        if not closed:
            left, words = None, "the circuit is open"
        full_left, full_words = self._to_full()
        stage, tally = self.stage, self.tally
        return GuidanceView(
            stage=stage.value,
            stage_for_s=0.0 if stage is Stage.NONE else now_s - self._stage_since_s,
            advice=advice(
                stage,
                self._circuit,
                regulated=self._charge.regulated,
                has_stopped=self._full is not None and self._full.completion.flow.has_stopped,
            ),
            cues=tuple(CueView(c.name, c.urgency.value, c.text, c.reason) for c in self._cues),
            to_limit=_forecast_view(left, words, "at this setting it reaches the limit"),
            to_full=_forecast_view(full_left, full_words, "full"),
            measured_v=measured_v,
            at_rest_v=at_rest_v,
            resistance_ohm=ohm,
            resistance_u_ohm=u_ohm,
            charged_ah=tally.charge_ah,
            charged_u_ah=tally.charge_u_ah,
            charged_wh=tally.energy_wh,
            charge_is_whole=tally.is_whole,
            left_ah=max(0.0, self._rating_ah - tally.charge_ah),
            full=self._full.completion.view() if self._full and closed else None,
            rest=self._rest.view() if self._rest else None,
            pulses=self._pulses.view() if self._pulses and self._pulses.is_under_way else None,
        )

    def _to_full(self) -> tuple[Left | None, str]:
        if self._full is None:
            return None, "the settings say no end (charge.full)"
        if self._circuit is not Circuit.CLOSED:
            return None, "the circuit is open"
        if self.stage is not Stage.HOLD:
            return None, f"cannot tell yet{self._to_hold()}"
        if not self._full.completion.flow.is_credible:
            return None, "no current flows: so it becomes no fuller"
        return self._full.fading.left, self._full.fading.words

    def _to_hold(self) -> str:
        if self.stage is Stage.TAPER:
            return ": the hold comes first"
        most_ah = max(0.0, self._rating_ah - self.tally.charge_ah)
        amperes = self._second.amperes if self._second else 0.0
        if amperes < 1.0:
            return ": next to no current flows"
        if most_ah / amperes > A_WEEK_H:
            return ": at this current it would take more than a week"
        most = span(most_ah / amperes * SECONDS_PER_HOUR)
        return f"; at this current {most} to the hold at the most"


def _forecast_view(left: Left | None, words: str, what: str) -> ForecastView:
    if left is None:
        return ForecastView(None, None, None, words)
    if not left.high_s:
        return ForecastView(0.0, 0.0, 0.0, "at the limit")
    if not left.low_s:
        said = f"{what} {when(0.0, left.high_s)}"
    else:
        said = f"{what} in {span(left.seconds)} ({between(left.low_s, left.high_s)})"
    return ForecastView(left.seconds, left.low_s, left.high_s, said)
