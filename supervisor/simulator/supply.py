"""The unregulated supply: a source with droop behind a rectifier, and a knob."""

from supervisor.simulator.output import NOTHING, Output
from supervisor.simulator.parts.supply import SupplySettings

DIODE_V = 1.0


class Supply:
    """Mean current into a bank; the rectifier lets nothing back, unless it has failed."""

    def __init__(self, settings: SupplySettings) -> None:
        self._open_circuit_v = settings.open_circuit_volts
        self._source_ohm = settings.source_milliohms / 1000
        self.ripple = settings.ripple_percent / 100
        self.ripple_hz = 2 * settings.mains_hertz
        self.sag_factor = 1.0
        self.reverse_ohm: float | None = None  # a failed rectifier
        self._from, self._to = settings.knob, settings.knob
        self._turned_at_s, self._turned_for_s = 0.0, 0.0

    def turn(self, position: float, at_s: float, over_s: float) -> None:
        """Turn the knob evenly to a position, 0 to 1."""
        if not 0 <= position <= 1:
            raise ValueError(f"knob position {position} is outside 0 to 1")
        self._from, self._to = self.knob(at_s), position
        self._turned_at_s, self._turned_for_s = at_s, over_s

    def knob(self, at_s: float) -> float:
        since_s = at_s - self._turned_at_s
        if since_s >= self._turned_for_s:
            return self._to
        return self._from + (self._to - self._from) * since_s / self._turned_for_s

    def turning(self, at_s: float) -> bool:
        return at_s < self._turned_at_s + self._turned_for_s

    def output(self, at_s: float, rest_v: float, bank_ohm: float, mains: bool) -> Output:
        """Into a bank that rests at ``rest_v`` and rises by ``bank_ohm`` volts per ampere."""
        open_v = self._open_circuit_v * self.knob(at_s) * self.sag_factor if mains else 0.0
        drive_v = open_v - rest_v
        if drive_v >= 0:
            amperes = drive_v / (self._source_ohm + bank_ohm)
            ripple_a = amperes * self.ripple
            return Output(amperes, ripple_a, amperes + ripple_a, amperes, amperes * DIODE_V)
        if self.reverse_ohm is None:
            return NOTHING
        amperes = drive_v / (self.reverse_ohm + bank_ohm)
        return Output(amperes, 0.0, amperes)
