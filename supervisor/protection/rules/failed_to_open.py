"""Failed to open (86 with BF): the coil was dropped, and yet the circuit is closed."""

from supervisor.protection.believed import mean_after
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import amount
from supervisor.readings import Channel, Readings
from supervisor.settings.model import SupervisorSettings

# One wrong look at the auxiliary contact, at a spike from the coil, is no verdict.
AUXILIARY_LOOKS = 3
# So many windows after the time allowed, the current's mean is missing, no longer awaited.
PATIENCE_WINDOWS = 3


class FailedToOpenRule:
    """Trips when, some time after the coil was dropped, current flows or the auxiliary contact
    says closed. Either is enough: an auxiliary contact that says open does not explain a current.

    Judged by the mean of a window that began after the time allowed: between two pulses of the
    rectifier a single conversion reads zero, and while the contact still opens a mean does not.
    """

    key = "failed_to_open"
    function = "86 BF"  # BF, breaker failure (memory)
    remedy = (
        "switch the supply off at the mains and keep it off; take the contactor out of service: "
        "contacts that have welded once do it again"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        rule = settings.protection.failed_to_open
        self._limit_a = rule.current_amperes
        self._within_s = rule.within_seconds
        self._window_s = settings.loop.window_s
        self._says_closed = 0  # looks in a row at which the auxiliary contact said so

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        contactor = readings.contactor
        self._says_closed = self._says_closed + 1 if contactor.auxiliary_closed else 0
        if contactor.told_to_close:
            return self._verdict(State.CLEAR, None, None, "the contactor is told to be closed")
        since_s = contactor.told_at_s
        for_s = now_s - since_s
        if for_s < self._within_s:
            reason = f"told to open {for_s:.2f} s ago, {self._within_s:.2f} s are allowed"
            return self._verdict(State.TIMING, None, since_s, reason)
        if self._says_closed >= AUXILIARY_LOOKS:
            reason = f"the auxiliary contact says closed {for_s:.2f} s after the coil was dropped"
            return self._verdict(State.TRIP, None, since_s, reason)
        allowed_until_s = since_s + self._within_s
        current_a = mean_after(readings, Channel.SHUNT, allowed_until_s, self._window_s)
        if current_a is None:
            return self._without_current(contactor.auxiliary_closed, for_s, since_s)
        if abs(current_a) > self._limit_a:
            reason = f"{amount(current_a, 'A')} flow {for_s:.2f} s after the coil was dropped"
            return self._verdict(State.TRIP, current_a, since_s, reason)
        return self._verdict(State.CLEAR, current_a, None, "open, no current")

    def _without_current(
        self, auxiliary_closed: bool | None, for_s: float, since_s: float
    ) -> Verdict:
        if auxiliary_closed is False:
            return self._verdict(State.CLEAR, None, None, "the auxiliary contact says open")
        if for_s < self._within_s + PATIENCE_WINDOWS * self._window_s:
            reason = f"told to open {for_s:.2f} s ago, the current's mean is not complete yet"
            return self._verdict(State.TIMING, None, since_s, reason)
        reason = "neither the current nor an auxiliary contact tells whether it is open"
        return self._verdict(State.CANNOT_TELL, None, None, reason)

    def _verdict(
        self, state: State, measured: float | None, since_s: float | None, reason: str
    ) -> Verdict:
        return Verdict(self.key, state, measured, self._limit_a, "A", since_s, reason)
