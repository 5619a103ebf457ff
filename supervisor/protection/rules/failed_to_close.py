"""Told to close, and the auxiliary contact says open: a loose coil wire, a contact that chatters.

An open circuit harms nothing. What harms is the moment when it closes by itself, at whatever the
knob has been turned to meanwhile, with nobody there.
"""

from supervisor.protection.lost_time import AT_A_STRETCH, LostTime
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import Readings
from supervisor.settings.model import SupervisorSettings

# One wrong look at the auxiliary contact is no verdict.
AUXILIARY_LOOKS = 3


class FailedToCloseRule:
    """Trips when the contact does not close in time, or once closed opens again by itself.

    Pull-in, bounces included, has ``within_seconds``; a contact that was seen closed for some looks
    and then open for some has let go, and trips at once. For one that only flutters see
    ``LostTime``. ``measured`` is how long it has been open.
    """

    key = "failed_to_close"
    function = ""  # the standard's 52 with its contacts is an AC breaker
    remedy = (
        "turn the knob down first: it closes by itself as soon as it can; then look at the coil's "
        "wire and supply, the driver, and the auxiliary contact"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        self._limit_s = settings.protection.failed_to_close.within_seconds
        self._lost = LostTime(self._limit_s)
        self._closing_at_s: float | None = None  # told to, at that time
        self._open_since_s: float | None = None
        self._alike = 0  # looks in a row at which the auxiliary contact said the same
        self._was_closed = False

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        contactor = readings.contactor
        if not contactor.told_to_close:
            self._closing_at_s = self._open_since_s = None
            return self._verdict(State.CLEAR, None, "the contactor is told to be open")
        if contactor.told_at_s != self._closing_at_s:
            self._closing_at_s = contactor.told_at_s
            self._lost = LostTime(self._limit_s)
            self._lost.update(False, contactor.told_at_s)
            self._alike, self._was_closed = 0, False
        is_open = contactor.auxiliary_closed is False
        self._alike = 1 if is_open is (self._open_since_s is None) else self._alike + 1
        if not is_open:
            self._open_since_s = None
        elif self._open_since_s is None:
            self._open_since_s = now_s
        is_full = self._lost.update(is_open, now_s)
        if not is_open:
            self._was_closed |= self._alike >= AUXILIARY_LOOKS
            return self._verdict(State.CLEAR, None, "closed, as told")
        if self._was_closed and self._alike >= AUXILIARY_LOOKS:
            reason = "told to close, and after that the auxiliary contact opened by itself"
            return self._verdict(State.TRIP, now_s, reason)
        if is_full:
            return self._verdict(State.TRIP, now_s, self._words(now_s))
        return self._verdict(State.TIMING, now_s, "told to close, the auxiliary contact says open")

    def _words(self, now_s: float) -> str:
        assert self._open_since_s is not None
        open_s = now_s - self._open_since_s
        if open_s < AT_A_STRETCH * self._limit_s:
            return "told to close, the auxiliary contact opens again and again"
        return f"told to close, the auxiliary contact says open for {open_s:.2f} s"

    def _verdict(self, state: State, now_s: float | None, reason: str) -> Verdict:
        since_s = None if state is State.CLEAR else self._open_since_s
        open_s = 0.0 if now_s is None or since_s is None else now_s - since_s
        return Verdict(self.key, state, open_s, self._limit_s, "s", since_s, reason)
