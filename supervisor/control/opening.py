"""After the coil was dropped: did the contactor really open, and how soon?"""

from enum import Enum

from supervisor.readings import Channel, Readings


class Opening(Enum):
    WAITING = "waiting"
    CONFIRMED = "confirmed"
    FAILED = "failed"
    UNKNOWN = "unknown"  # neither current nor auxiliary contact could tell in time


class OpeningWatch:
    """Follows one opening: confirmed by no current and, where fitted, the auxiliary contact."""

    def __init__(self, no_current_a: float, within_s: float) -> None:
        self._no_current_a = no_current_a
        self._within_s = within_s
        self.outcome = Opening.WAITING
        self.opened_in_s: float | None = None

    def look(self, readings: Readings, now_s: float, *, failed: bool) -> Opening:
        """``failed`` is the verdict of the rule failed_to_open, the judge of last resort."""
        contactor = readings.contactor
        if failed:
            self.outcome = Opening.FAILED
        if self.outcome is not Opening.WAITING:
            return self.outcome
        current = readings.scan[Channel.SHUNT]
        no_current = (
            current.good_value is not None
            and current.taken_at_s > contactor.told_at_s
            and abs(current.good_value) <= self._no_current_a
        )
        if no_current and contactor.auxiliary_closed is not True:
            self.outcome = Opening.CONFIRMED
            self.opened_in_s = now_s - contactor.told_at_s
        elif now_s - contactor.told_at_s > 2 * self._within_s:
            self.outcome = Opening.UNKNOWN
        return self.outcome
