"""Balance (60): front and far cell differ by more than the current explains."""

from typing import NamedTuple

from supervisor.protection.believed import believed
from supervisor.protection.debounce import Debounce
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import NAMES, amount, beside, flaw
from supervisor.readings import Channel, Reading, Readings
from supervisor.settings.model import SupervisorSettings

FRONT, FAR, SHUNT = Channel.FRONT_CELL, Channel.FAR_CELL, Channel.SHUNT

MEASURE = "measure front and far cell at their own terminals with a meter"
FAR_TOO_LOW = (
    f"{MEASURE}; if they do differ, a link between them has opened or has a bad joint, or the far "
    "cell is weak: look at every link and bolt; if they do not, look for a joint or fuse with "
    "resistance in the sense lead of the far cell"
)
FRONT_TOO_LOW = (
    f"{MEASURE}; if they do not differ, look for a joint or fuse with resistance in the sense lead "
    "of the front cell: it hides how high that cell really is; if they do, look at every link and "
    "bolt"
)


class _Pair(NamedTuple):
    """Both cells and the drop expected between them, in volts."""

    front_v: float
    far_v: float
    drop_v: float

    @property
    def excess_v(self) -> float:
        """Front minus far cell, the expected drop taken out."""
        return self.front_v - self.far_v - self.drop_v


class BalanceRule:
    """Front minus far cell, less current times ``bars_microohms``, on means of windows.

    Judged with the contactor open just the same: a bank with an open link or a bad lead is not to
    be closed. A sound bank does not trip it by relaxing after an opening, as its cells sit on the
    same bars, and what equalises between them drops less there than the charging current did.

    ``measured`` is the difference beyond the expected one, without its sign, in V.
    """

    key = "balance"
    function = "60"
    remedy = f"{MEASURE}; then look at every link and bolt between them, and at both sense leads"

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.balance
        assert rule is not None
        self._limit_v = rule.trip_volts
        self._bars_ohm = rule.bars_microohms * 1e-6
        self._debounce = Debounce(rule.confirm, rule.of, rule.delay_seconds)
        self._more = f"more than {amount(rule.trip_volts, 'V')}"
        self._last: Verdict | None = None

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        if readings.window is None:
            return self._verdict(State.CANNOT_TELL, None, "no window of readings is complete yet")
        if readings.window_is_new or self._last is None:
            self._last = self._decide(readings.window, now_s)
        return self._last

    def _decide(self, window: dict[Channel, Reading], now_s: float) -> Verdict:
        pair = self._look(window)
        if isinstance(pair, Channel):
            return self._doubt(pair, window, now_s)
        self._debounce.update(self._is_past(pair), now_s)
        if self._debounce.since_s is None:
            reason = "front and far cell differ by no more than the current explains"
            return self._verdict(State.CLEAR, pair, reason)
        state = State.TRIP if self._debounce.is_tripped else State.TIMING
        return self._verdict(state, pair, self._words(pair, now_s))

    def _look(self, window: dict[Channel, Reading]) -> _Pair | Channel:
        """Both cells; or a channel that cannot tell."""
        values: list[float] = []
        for channel in (FRONT, FAR, SHUNT):
            value = believed(window.get(channel))
            if value is None:
                return channel
            values.append(value)
        front_v, far_v, amperes = values
        return _Pair(front_v, far_v, amperes * self._bars_ohm)

    def _is_past(self, pair: _Pair) -> bool:
        return abs(pair.excess_v) > self._limit_v

    def _doubt(self, unknown: Channel, window: dict[Channel, Reading], now_s: float) -> Verdict:
        if self._debounce.is_tripped:
            reason = f"{self._differed(now_s)}, now without a good reading"
            return self._verdict(State.TRIP, None, reason)
        reason = f"no good reading, {flaw(unknown, window.get(unknown))}"
        return self._verdict(State.CANNOT_TELL, None, reason)

    def _words(self, pair: _Pair, now_s: float) -> str:
        """Timing or tripped, for the operator."""
        found = (
            f"front cell {amount(pair.front_v, 'V')}, far cell {amount(pair.far_v, 'V')}, "
            f"expected drop {amount(pair.drop_v, 'V')}"
        )
        if not self._is_past(pair):
            return f"{self._differed(now_s)}, now {found}"
        low = NAMES[FAR if pair.excess_v > 0 else FRONT]
        excess = beside(abs(pair.excess_v), self._limit_v, "V")
        return f"{found}: {low} is {excess} too low, {self._lasting(now_s)}"

    def _differed(self, now_s: float) -> str:
        return f"front and far cell differed by {self._lasting(now_s)}"

    def _lasting(self, now_s: float) -> str:
        return f"{self._more} for {self._debounce.for_s(now_s):.1f} s"

    def _verdict(self, state: State, pair: _Pair | None, reason: str) -> Verdict:
        remedy = ""
        if pair is not None and self._is_past(pair):
            remedy = FAR_TOO_LOW if pair.excess_v > 0 else FRONT_TOO_LOW
        return Verdict(
            self.key,
            state,
            None if pair is None else abs(pair.excess_v),
            self._limit_v,
            "V",
            self._debounce.since_s if state in (State.TIMING, State.TRIP) else None,
            reason,
            remedy,
        )
