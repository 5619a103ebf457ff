"""Current or auxiliary contact says closed though the coil was dropped (86 with BF, memory)."""

from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import amount
from supervisor.readings import Channel, Readings
from supervisor.settings.model import SupervisorSettings


class FailedToOpenRule:
    key = "failed_to_open"
    function = "86 BF"
    remedy = (
        "cut the mains side by hand and keep it cut; take the contactor out of service: contacts "
        "that have welded once do it again"
    )

    def __init__(self, settings: SupervisorSettings) -> None:
        self._limit_a = settings.protection.failed_to_open.current_amperes
        self._within_s = settings.protection.failed_to_open.within_seconds
        self._window_s = settings.loop.window_s

    def judge(self, readings: Readings, now_s: float) -> Verdict:
        contactor = readings.contactor
        if contactor.told_to_close:
            return self._verdict(State.CLEAR, None, None, "told to be closed")
        current_a = self._current_a(readings)
        still = []
        if current_a is not None and not abs(current_a) <= self._limit_a:
            still.append(f"{amount(current_a, 'A')} still flows")
        if contactor.auxiliary_closed:
            still.append("the auxiliary contact still says closed")
        since_s = contactor.told_at_s
        late = now_s - since_s > self._within_s
        if still:
            reason = f"{' and '.join(still)} {now_s - since_s:.2f} s after the coil was dropped"
            return self._verdict(State.TRIP if late else State.TIMING, current_a, since_s, reason)
        if current_a is None and contactor.auxiliary_closed is None:
            reason = "neither current nor an auxiliary contact tells whether it is open"
            state = State.CANNOT_TELL if late else State.TIMING
            return self._verdict(state, None, since_s, reason)
        return self._verdict(State.CLEAR, current_a, None, "open")

    def _current_a(self, readings: Readings) -> float | None:
        """Mean current of a window that began after the opening; None when there is none."""
        reading = readings.window.get(Channel.SHUNT) if readings.window else None
        if reading is None or reading.taken_at_s - self._window_s < readings.contactor.told_at_s:
            return None
        return reading.good_value

    def _verdict(
        self, state: State, current_a: float | None, since_s: float | None, reason: str
    ) -> Verdict:
        return Verdict(self.key, state, current_a, self._limit_a, "A", since_s, reason)
