"""What a session has put into the bank: charge, energy, and how well the charge is known."""

from math import isfinite

from supervisor.protection.believed import believed
from supervisor.protection.session import SECONDS_PER_HOUR, SessionCount
from supervisor.protection.verdict import Memory
from supervisor.readings import Channel, Reading, Readings
from supervisor.settings.model import SupervisorSettings


class Tally:
    """By trapezoids over all closings of a session, as its limits count; kept over a restart.

    The uncertainty of the current is mostly an offset, the same all the time: it adds up as it is.
    """

    def __init__(self, settings: SupervisorSettings) -> None:
        new_after_s = settings.session.new_after_open_hours * SECONDS_PER_HOUR
        self._counts = {
            name: SessionCount(new_after_s, settings.loop.window_s)
            for name in ("charge", "energy", "unsure")
        }

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
    def is_whole(self) -> bool:
        return all(count.is_whole for count in self._counts.values())

    def take(self, readings: Readings, now_s: float) -> None:
        """A new window."""
        for count in self._counts.values():
            count.follow(readings.contactor)
        window = readings.window or {}
        current, front = window.get(Channel.SHUNT), window.get(Channel.FRONT_CELL)
        amperes = _finite(current)
        if not readings.contactor.told_to_close or current is None or amperes is None:
            return
        self._counts["charge"].count(max(amperes, 0.0), now_s)
        self._counts["unsure"].count(current.uncertainty, now_s)
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
