"""Mean current above a pick-up, inverse time (function 76): the more, the sooner."""

from supervisor.protection.current_steps import CurrentSteps, Step, why_unknown
from supervisor.protection.curves import CURVES
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import NAMES, amount, beside
from supervisor.readings import Channel, Readings
from supervisor.settings.model import SupervisorSettings


class OvercurrentInverseRule:
    """Adds up dt / t(M) while the current is above the pick-up; trips when that comes to 1.

    Below it, an IEEE curve turns back by its disk's characteristic; an IEC curve keeps what has
    added up for ``reset_seconds``, then forgets it. Which current counts when it is not known, see
    ``CurrentSteps``. ``measured`` is the higher of the last two means, without sign.
    """

    key = "overcurrent_inverse"
    function = "76"
    remedy = (
        "turn the knob down and let rectifier, transformer and leads cool; find out why more flows "
        "than the supply bears for long, then close with the knob down and stay below the pick-up"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.overcurrent_inverse
        assert rule is not None
        self._pickup_a = rule.trip_amperes
        self._curve = CURVES[rule.curve]
        self._stretch = rule.time_multiplier
        self._keep_s = rule.reset_seconds
        self._steps = CurrentSteps()
        self._share = 0.0  # of the way to a trip
        self._below_s = 0.0
        self._since_s: float | None = None
        self._last: Verdict | None = None

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        if readings.window_is_new or self._last is None:
            self._last = self._decide(readings, now_s)
        return self._last

    def _decide(self, readings: Readings, now_s: float) -> Verdict:
        step = self._steps.take(readings, now_s)
        if step is None:
            return self._unknown(readings)
        multiple = step.amperes / self._pickup_a
        if multiple > 1:
            return self._above(step, multiple, now_s)
        return self._below(step, multiple)

    def _unknown(self, readings: Readings) -> Verdict:
        if self._last is not None and self._last.state is State.TRIP:
            return self._last
        return self._verdict(State.CANNOT_TELL, None, why_unknown(readings))

    def _above(self, step: Step, multiple: float, now_s: float) -> Verdict:
        allowed_s = self._stretch * self._curve.operate_s(multiple)
        self._share = min(1.0, self._share + step.for_s / allowed_s)
        self._below_s = 0.0
        if self._since_s is None:
            self._since_s = now_s
        value = f"{NAMES[Channel.SHUNT]} {beside(step.amperes, self._pickup_a, 'A')}"
        past = f"{value} is above {amount(self._pickup_a, 'A')} for {now_s - self._since_s:.1f} s"
        if self._share >= 1:
            reason = f"{past}: all its time on the curve is used up"
            return self._verdict(State.TRIP, step, reason, 0.0)
        left_s = (1 - self._share) * allowed_s
        reason = f"{past}: {self._way()}, {left_s:.1f} s remain"
        return self._verdict(State.TIMING, step, reason, left_s)

    def _below(self, step: Step, multiple: float) -> Verdict:
        self._since_s = None
        self._forget(multiple, step.for_s)
        reason = f"not above {amount(self._pickup_a, 'A')}"
        if self._share:
            reason += f", {self._way()} not forgotten yet"
        return self._verdict(State.CLEAR, step, reason)

    def _forget(self, multiple: float, for_s: float) -> None:
        reset_s = self._curve.reset_s(multiple)
        if reset_s is not None:
            self._share = max(0.0, self._share - for_s / (self._stretch * reset_s))
            return
        self._below_s += for_s
        if self._below_s >= self._keep_s:
            self._share = 0.0

    def _way(self) -> str:
        return f"{int(100 * self._share)} % of the way to a trip"

    def _verdict(
        self, state: State, step: Step | None, reason: str, left_s: float | None = None
    ) -> Verdict:
        measured = None if step is None else step.amperes
        since_s = None if step is None else self._since_s
        return Verdict(
            self.key, state, measured, self._pickup_a, "A", since_s, reason, left_s=left_s
        )
