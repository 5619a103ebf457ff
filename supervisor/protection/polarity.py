"""Which of two faults a backward current is: swapped sense wires, or a failed rectifier."""

from typing import NamedTuple

from supervisor.protection.believed import believed
from supervisor.readings import Channel, Readings
from supervisor.settings.model import SupervisorSettings

SIGNIFICANT_STEPS = 4.0  # of the converter: noise of two means, and more


class Cause(NamedTuple):
    """``words`` go on after the reason."""

    words: str
    remedy: str


UNKNOWN = Cause("it flows out of the bank, or the shunt's sense wires are swapped", "")
SWAPPED_REMEDY = (
    "swap the shunt's two sense wires at its small screws or at the converter; at the next closing "
    "the first amperes must read positive, and a clamp meter must agree"
)
RECTIFIER_REMEDY = (
    "disconnect the supply from the bank before touching anything: its rectifier has failed, and "
    "is a short circuit across the bank; replace it, and look for what killed it"
)


class Polarity:
    """What current and front cell have done since the contactor was told to close.

    Sense wires do not change places by themselves: a current that was positive before has turned
    round. One that never was is read the wrong way round, most likely; unless the front cell fell.
    """

    def __init__(self, settings: SupervisorSettings) -> None:
        self._positive_a = settings.protection.sensing.zero_amperes
        self._significant_v = SIGNIFICANT_STEPS * settings.channels.front_cell.step_volts
        self._closed_at_s: float | None = None
        self._was_positive = False
        self._rest_v: float | None = None  # before closing
        self._front_v: float | None = None

    def take(self, readings: Readings) -> None:
        """Once a cycle."""
        contactor = readings.contactor
        if contactor.told_to_close and contactor.told_at_s != self._closed_at_s:
            self._closed_at_s = contactor.told_at_s
            self._was_positive = False
            self._rest_v, self._front_v = self._front_v, None
        if readings.window is None or not readings.window_is_new:
            return
        current_a = believed(readings.window.get(Channel.SHUNT))
        self._was_positive |= current_a is not None and current_a > self._positive_a
        front_v = believed(readings.window.get(Channel.FRONT_CELL))
        self._front_v = self._front_v if front_v is None else front_v

    def cause(self) -> Cause:
        """Of a current that flows backwards now."""
        if self._closed_at_s is None:
            return UNKNOWN
        if self._was_positive:
            words = (
                "it was positive since closing and has turned round, so the rectifier has failed"
            )
            return Cause(words, RECTIFIER_REMEDY)
        never, moved_v = "it was never positive since closing", self._moved_v()
        moved = f"by {abs(moved_v) * 1000:.1f} mV"
        if moved_v < -self._significant_v:
            words = f"{never}, but the front cell has fallen {moved}, so the rectifier has failed"
            return Cause(words, RECTIFIER_REMEDY)
        if moved_v > self._significant_v:
            never = f"{never}, while the front cell has risen {moved} and is being charged"
        words = f"{never}, so most likely the shunt's sense wires are swapped"
        return Cause(words, SWAPPED_REMEDY)

    def _moved_v(self) -> float:
        """The front cell's move since closing; 0 when it cannot be told."""
        if self._rest_v is None or self._front_v is None:
            return 0.0
        return self._front_v - self._rest_v
