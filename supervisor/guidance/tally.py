"""What a session has put into the bank: charge, energy, and how well the charge is known.

What the shunt shows while the circuit is open is no current: it is taken out of what flows then.
"""

from math import hypot, isfinite

from supervisor.guidance.zero import Zero
from supervisor.protection.believed import believed
from supervisor.protection.session import SECONDS_PER_HOUR, SessionCount
from supervisor.protection.verdict import Memory
from supervisor.readings import Channel, ContactorState, Reading, Readings
from supervisor.settings.model import SupervisorSettings

SETTLES_S = 1.0  # after an opening
NAMES = ("charge", "energy", "unsure", "hours", "pulses")


class Tally:
    """By trapezoids over all closings of a session, as its limits count; kept over a restart.

    The errors of gain and zero stay the same all the time: their uncertainty adds up as it is. The
    part for the converter's offset stays in it when the zero is learned, so it errs to the wide.
    """

    def __init__(self, settings: SupervisorSettings) -> None:
        new_after_s = settings.session.new_after_open_hours * SECONDS_PER_HOUR
        self._counts = {name: SessionCount(new_after_s, settings.loop.window_s) for name in NAMES}
        self._zero = Zero(settings)

    @property
    def charge_ah(self) -> float:
        return self._counts["charge"].counted

    @property
    def charge_u_ah(self) -> float:
        """Expanded uncertainty."""
        return self._counts["unsure"].counted

    @property
    def energy_wh(self) -> float:
        """At the front cell's terminals."""
        return self._counts["energy"].counted

    @property
    def zero_a(self) -> float | None:
        """What is taken out of the current."""
        return self._zero.amperes

    @property
    def pulses(self) -> SessionCount:
        """How often a pulsed hold has closed again by itself, counted by that."""
        return self._counts["pulses"]

    @property
    def is_new(self) -> bool:
        """Nothing of this session has been counted, or is missing."""
        return self._counts["hours"].counted == 0 and self.is_whole

    @property
    def is_whole(self) -> bool:
        return all(count.is_whole for count in self._counts.values())

    def end_session(self) -> None:
        """Open for long: the next closing begins a new one, over a restart as well."""
        for count in self._counts.values():
            count.is_used_up = True

    def follow(self, contactor: ContactorState) -> None:
        """Open or closed; a closing begins a new session perhaps."""
        for count in self._counts.values():
            count.follow(contactor)

    def take(self, readings: Readings, now_s: float) -> None:
        """A new window."""
        self.follow(readings.contactor)
        window = readings.window or {}
        current, front = window.get(Channel.SHUNT), window.get(Channel.FRONT_CELL)
        amperes = _finite(current)
        if not readings.contactor.told_to_close:
            is_at_rest = now_s - readings.contactor.told_at_s > SETTLES_S
            if is_at_rest and amperes is not None:
                self._zero.take(amperes, now_s)
            return
        self._zero.forget()
        self._counts["hours"].count(1.0, now_s)
        if current is None or amperes is None:
            return
        amperes -= self._zero.amperes or 0.0
        self._counts["charge"].count(max(amperes, 0.0), now_s)
        self._counts["unsure"].count(hypot(current.uncertainty, self._zero.unsure_a), now_s)
        volts = _finite(front)
        if volts is not None:
            self._counts["energy"].count(max(amperes, 0.0) * volts, now_s)

    def memory(self) -> Memory:
        return {
            f"{name} {key}": value
            for name, count in self._counts.items()
            for key, value in count.memory().items()
        }

    def recall(self, memory: Memory | None, *, is_whole: bool) -> None:
        for name, count in self._counts.items():
            own = None
            if memory is not None:
                begins = f"{name} "
                own = {k.removeprefix(begins): v for k, v in memory.items() if k.startswith(begins)}
            count.recall(own, is_whole=is_whole)


def _finite(reading: Reading | None) -> float | None:
    value = believed(reading)
    return value if value is not None and isfinite(value) else None
