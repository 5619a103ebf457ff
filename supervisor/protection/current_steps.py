"""The current from window to window, for rules that add up what it does over time."""

from math import isfinite
from typing import NamedTuple

from supervisor.protection.believed import believed
from supervisor.protection.wording import flaw
from supervisor.readings import Channel, Readings

NO_WINDOW = "no window of readings is complete yet"


class Step(NamedTuple):
    """A current that counts for some time."""

    amperes: float
    for_s: float


class CurrentSteps:
    """Cuts time into steps, each from one mean that can be told to the next.

    The higher of the two means counts for the whole step, without its sign: heat has none. So a bad
    reading, a late cycle or a loop that stood still hides nothing; what was not seen counts as the
    worse of what was seen before and after.

    With the contactor told to open, an unknown current counts as 0. A current that is measured
    counts even then: the contactor has failed to open.
    """

    __slots__ = ("_last",)

    def __init__(self) -> None:
        self._last: tuple[float, float] | None = None  # amperes, and when

    def begin(self, now_s: float) -> None:
        """Time counts from here on; nothing flows yet."""
        self._last = (0.0, now_s)

    def take(self, readings: Readings, now_s: float) -> Step | None:
        """The step up to this window; None when its current cannot be told."""
        amperes = _known(readings)
        if amperes is None:
            return None
        last_a, last_s = self._last or (amperes, now_s)
        self._last = (amperes, now_s)
        return Step(max(last_a, amperes), max(0.0, now_s - last_s))

    def pending(self, now_s: float) -> Step:
        """The step since the last window that could be told, at its current."""
        last_a, last_s = self._last or (0.0, now_s)
        return Step(last_a, max(0.0, now_s - last_s))


def why_unknown(readings: Readings) -> str:
    """Why the current cannot be told, for the operator."""
    if readings.window is None:
        return NO_WINDOW
    return f"no good reading, {flaw(Channel.SHUNT, readings.window.get(Channel.SHUNT))}"


def _known(readings: Readings) -> float | None:
    """The mean current without its sign."""
    window = readings.window
    value = None if window is None else believed(window.get(Channel.SHUNT))
    if value is not None and isfinite(value):
        return abs(value)
    return None if readings.contactor.told_to_close else 0.0
