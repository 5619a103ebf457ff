"""After the coil was dropped: did the contactor really open, and how soon?"""

from enum import Enum

from supervisor.readings import Channel, Readings


class Opening(Enum):
    WAITING = "waiting"
    CONFIRMED = "confirmed"
    FAILED = "failed"
    UNKNOWN = "unknown"  # neither current nor auxiliary contact could tell in time


class OpeningWatch:
    """Follows one opening: confirmed by no current and the auxiliary contact, as far as known."""

    def __init__(self, opened_at_s: float, no_current_a: float, within_s: float) -> None:
        self._opened_at_s = opened_at_s
        self._no_current_a = no_current_a
        self._within_s = within_s
        self.outcome = Opening.WAITING
        self.opened_in_s: float | None = None

    def look(self, readings: Readings, now_s: float, *, failed: bool) -> Opening:
        """``failed`` is the verdict of the rule failed_to_open, the judge of last resort."""
        if failed:
            self.outcome = Opening.FAILED
        if self.outcome is not Opening.WAITING:
            return self.outcome
        current_a = self._current_a(readings)
        auxiliary = readings.contactor.auxiliary_closed
        flows = current_a is not None and not abs(current_a) <= self._no_current_a
        closed = readings.contactor.told_to_close or auxiliary or flows
        if not closed and (current_a is not None or auxiliary is not None):
            self.outcome = Opening.CONFIRMED
            self.opened_in_s = now_s - self._opened_at_s
        elif now_s - self._opened_at_s > 2 * self._within_s:
            self.outcome = Opening.UNKNOWN
        return self.outcome

    def _current_a(self, readings: Readings) -> float | None:
        """From a conversion after the opening; None when there is no good one."""
        current = readings.scan[Channel.SHUNT]
        return current.good_value if current.taken_at_s > self._opened_at_s else None
