"""After the coil was dropped: did the contactor really open, and how soon?"""

from enum import Enum

from supervisor.readings import Channel, Readings
from supervisor.settings.model import SupervisorSettings


class Opening(Enum):
    WAITING = "waiting"
    CONFIRMED = "confirmed"
    FAILED = "failed"
    UNKNOWN = "not confirmed"  # neither current nor auxiliary contact could tell in time


class OpeningWatch:
    """Follows one opening: confirmed by no current and the auxiliary contact, as far as known.

    No current means none for a whole mains window: between two pulses of the rectifier a single
    conversion reads zero with the contact closed.
    """

    def __init__(self, opened_at_s: float, settings: SupervisorSettings) -> None:
        rule = settings.protection.failed_to_open
        self._opened_at_s = opened_at_s
        self._no_current_a = rule.current_amperes
        self._window_s = settings.loop.window_s
        # Last of all: until then the rule failed_to_open has had its say.
        self._unknown_at_s = opened_at_s + 2 * rule.within_seconds + settings.lease_s + 1.0
        self._looks_open_since_s: float | None = None
        self.outcome = Opening.WAITING
        self.opened_in_s: float | None = None

    def look(self, readings: Readings, now_s: float, *, failed: bool) -> Opening:
        """``failed`` is the verdict of the rule failed_to_open, the judge of last resort."""
        if failed:
            self.outcome = Opening.FAILED
        if self.outcome is not Opening.WAITING:
            return self.outcome
        if not self._looks_open(readings):
            self._looks_open_since_s = None
        elif self._looks_open_since_s is None:
            self._looks_open_since_s = now_s
        elif now_s - self._looks_open_since_s >= self._window_s:
            self.outcome = Opening.CONFIRMED
            self.opened_in_s = self._looks_open_since_s - self._opened_at_s
        if self._looks_open_since_s is None and now_s > self._unknown_at_s:
            self.outcome = Opening.UNKNOWN
        return self.outcome

    def _looks_open(self, readings: Readings) -> bool:
        current_a = self._current_a(readings)
        auxiliary = readings.contactor.auxiliary_closed
        flows = current_a is not None and not abs(current_a) <= self._no_current_a
        closed = readings.contactor.told_to_close or auxiliary or flows
        return not closed and (current_a is not None or auxiliary is not None)

    def _current_a(self, readings: Readings) -> float | None:
        """From a conversion after the opening; None when there is no good one."""
        current = readings.scan[Channel.SHUNT]
        return current.good_value if current.taken_at_s > self._opened_at_s else None
