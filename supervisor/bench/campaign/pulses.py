"""The one closing that nobody asks for: the next pulse of a pulsed hold, as the settings bound it.

Judged at the coil alone; of the daemon's word only that it is finished.
"""

from collections.abc import Callable

from supervisor.settings.charge import PulsedHold
from supervisor.settings.model import SupervisorSettings

HOUR_S = 3600.0
LATE_S = 0.5  # the daemon counts from its own word, the coil goes off a drop-out later
NEVER = float("inf")


class Pulses:
    """Since somebody last asked for a closing. ``settings``: those in force by now."""

    def __init__(self, settings: Callable[[], SupervisorSettings]) -> None:
        self._settings = settings
        self._begin(-NEVER, "nobody has closed it yet")

    def _begin(self, at_s: float, ended: str) -> None:
        self._closed_s = at_s
        self._ended = ended
        self._off_s = self._first_off_s = -NEVER
        self._again_s: list[float] = []

    def asked_for(self, at_s: float) -> None:
        """It closed because somebody asked."""
        self._begin(at_s, "")

    def end(self, why: str, asked_s: float = NEVER) -> None:
        """No further pulse; what was asked for before the closing does not count."""
        if asked_s > self._closed_s:
            self._ended = self._ended or why

    def goes_off(self, at_s: float) -> None:
        self._off_s = at_s
        self._first_off_s = at_s if self._first_off_s == -NEVER else self._first_off_s

    def closes_again(self, at_s: float) -> str:
        """By itself. What forbids it; empty when the settings allow it."""
        charge = self._settings().charge
        pulsed = charge.pulsed_hold if charge else None
        if pulsed is None:
            return "nobody asked, and the settings have no pulsed hold"
        self._again_s.append(at_s)
        return self._ended or self._beyond(pulsed, at_s)

    def _beyond(self, pulsed: PulsedHold, at_s: float) -> str:
        rested_s = at_s - self._off_s
        if rested_s < pulsed.least_rest_seconds - LATE_S:
            return f"after a rest of {rested_s:.2f} s, {pulsed.least_rest_seconds:g} s at least"
        if len(self._again_s) > pulsed.most_pulses:
            return f"pulse {len(self._again_s)} of {pulsed.most_pulses} at the most"
        in_hour = sum(at_s - again_s < HOUR_S for again_s in self._again_s)
        if in_hour > pulsed.most_per_hour:
            return f"{in_hour} pulses within an hour, {pulsed.most_per_hour} at the most"
        lasted_s = at_s - self._first_off_s
        if lasted_s > pulsed.most_hours * HOUR_S + LATE_S:
            return f"{lasted_s:.1f} s after the first opening, {pulsed.most_hours:g} h at the most"
        return ""
