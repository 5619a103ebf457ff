"""Heat of the supply's parts, reckoned from the current (function 49)."""

from math import inf

from supervisor.protection.current_steps import CurrentSteps, why_unknown
from supervisor.protection.heat import ThermalReplica
from supervisor.protection.verdict import Memory, State, Verdict
from supervisor.readings import Readings
from supervisor.settings.model import SupervisorSettings

HOT = 1.0  # theta of all the heat that a part bears
HOTTEST, LARGEST_A = 10.0, 1e5  # more is no memory of ours
PERCENT = 100.0


class SupplyThermalRule:
    """A thermal replica each of rectifier and transformer. ``measured`` is the hotter one, in %.

    Trips when a part has all the heat it bears while the contactor is closed. From
    ``warn_percent`` on it is timing: closed, that warns; open, closing and a reset wait until it
    has cooled below. What nobody knows of the time before a start counts as hot.

    Which current counts while it cannot be told, see ``CurrentSteps``: the worse of before and
    after is enough, as permission does not outlive a missing reading by half a second, and heat
    takes minutes. A higher guess would only add up false heat.
    """

    key = "supply_thermal"
    function = "49"
    remedy = (
        "let the supply cool, closing waits for it; look whether fan and heat sink are free and "
        "the rectifier sits tight on it; then charge with less current"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.supply_thermal
        assert rule is not None
        self._form_factor = rule.form_factor
        self._most_rms_a = rule.form_factor * settings.protection.overcurrent.trip_amperes
        self._warn = rule.warn_percent / PERCENT
        parts = {"rectifier": rule.rectifier, "transformer": rule.transformer}
        self._parts = {
            name: ThermalReplica(part.continuous_amperes, part.time_constant_seconds)
            for name, part in parts.items()
            if part is not None
        }
        self._steps = CurrentSteps()
        self._is_assumed = False
        self._since_s: float | None = None
        self._last: Verdict | None = None

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        if readings.window_is_new or self._last is None:
            self._last = self._decide(readings, now_s)
        return self._last

    def memory(self, now_s: float) -> Memory:
        """Theta of each part, and the amperes it is reckoned with: others make it another heat."""
        amperes, for_s = self._steps.pending(now_s)
        rms_a = self._form_factor * amperes
        thetas = {name: part.after(rms_a, for_s) for name, part in self._parts.items()}
        return thetas | {f"{name}_a": part.continuous_a for name, part in self._parts.items()}

    def recall(self, memory: Memory | None, now_s: float, *, is_whole: bool) -> None:
        """Go on from there: as hot as it can have got, where that says nothing credible, or is not
        the whole: a contactor may have stayed closed, at any current that trips no limit."""
        kept = memory or {}
        for name, part in self._parts.items():
            theta, of_a = kept.get(name, inf), kept.get(f"{name}_a", inf)
            theta *= (min(of_a, LARGEST_A) / part.continuous_a) ** 2
            is_credible = 0 < of_a < LARGEST_A and 0 <= theta <= HOTTEST
            least = 0.0 if is_whole and is_credible else self._most(part)
            part.theta = max(least, theta) if is_credible else least
            self._is_assumed |= not (is_whole and is_credible)
        self._steps.begin(now_s)
        self._last = None

    def _most(self, part: ThermalReplica) -> float:
        """Theta after for ever at the current that just trips no limit; hot at the least."""
        return max(HOT, (self._most_rms_a / part.continuous_a) ** 2)

    def _decide(self, readings: Readings, now_s: float) -> Verdict:
        step = self._steps.take(readings, now_s)
        if step is None:
            return self._unknown(readings)
        rms_a = self._form_factor * step.amperes
        for part in self._parts.values():
            part.step(rms_a, step.for_s)
        closed = readings.contactor.told_to_close
        state = self._state(closed=closed)
        if state is State.CLEAR:
            self._since_s, self._is_assumed = None, False
        elif self._since_s is None:
            self._since_s = now_s
        soonest = self._soonest(rms_a) if closed else None
        reason = self._words(state, soonest, f"{rms_a:.0f} A effective", closed=closed)
        return self._verdict(state, reason, soonest and soonest[0])

    def _unknown(self, readings: Readings) -> Verdict:
        if self._last is not None and self._last.state is State.TRIP:
            return self._last
        return self._verdict(State.CANNOT_TELL, why_unknown(readings))

    def _state(self, *, closed: bool) -> State:
        theta = self._parts[self._hottest()].theta
        if closed and theta >= HOT:
            return State.TRIP
        return State.TIMING if theta >= self._warn else State.CLEAR

    def _hottest(self) -> str:
        return max(self._parts, key=lambda name: self._parts[name].theta)

    def _soonest(self, rms_a: float) -> tuple[float, str] | None:
        """Time until a part trips if this current stays, and which; None when none does."""
        left = ((part.left_s(rms_a), name) for name, part in self._parts.items())
        return min(((left_s, name) for left_s, name in left if left_s is not None), default=None)

    def _words(
        self, state: State, soonest: tuple[float, str] | None, current: str, *, closed: bool
    ) -> str:
        hottest = self._hottest()
        words = f"{self._at(hottest)} of the heat that trips"
        if state is State.TRIP:
            return f"{words}, at {current}"
        if soonest is not None:
            left_s, name = soonest
            other = "" if name == hottest else f"; {self._at(name)}"
            return f"{words}{other}: at {current} {_span(left_s)} remain"
        if state is State.CLEAR:
            return words
        if closed:
            return f"{words}: at {current} it does not trip"
        wait_s = max(part.cooling_s(self._warn) for part in self._parts.values())
        waits = f"closing waits {_span(wait_s)}, until it is below {self._warn * PERCENT:g} %"
        if self._is_assumed:
            return f"it is not known how hot the supply is; taken as {words}: {waits}"
        return f"{words}: {waits}"

    def _at(self, name: str) -> str:
        return f"{name} at {int(self._parts[name].theta * PERCENT)} %"

    def _verdict(self, state: State, reason: str, left_s: float | None = None) -> Verdict:
        percent = self._parts[self._hottest()].theta * PERCENT
        since_s = None if state is State.CANNOT_TELL else self._since_s
        return Verdict(self.key, state, percent, PERCENT, "%", since_s, reason, left_s=left_s)


def _span(seconds: float) -> str:
    """A time in the unit that suits it: 95 s, 3 min, 2.5 h."""
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"
