"""What all supplies share: a knob, the mains behind them, and a way back when they have failed."""

from abc import ABC, abstractmethod
from dataclasses import replace

from supervisor.simulator.output import Output


class Source(ABC):
    """Charges a bank. Nothing flows back into it, unless it has failed."""

    def __init__(self, knob: float, ripple_hz: float, winding_ohm: float = 0.0) -> None:
        self.ripple_hz = ripple_hz
        self.winding_ohm = winding_ohm
        """Of each half of the transformer's secondary; 0: nothing that warms."""
        self.sag_factor = 1.0
        """The mains voltage to what it should be: below 1 a sag, 0 a power cut, above 1 a swell."""
        self.reverse_ohm: float | None = None
        """Through a failed rectifier, back into the supply."""
        self._from, self._to = knob, knob
        self._turned_at_s, self._turned_for_s = 0.0, 0.0

    def prepare(self, emfs_v: tuple[float, float], most_ohm: float) -> None:  # noqa: B027
        """Work out now what a bank of such EMFs and resistance asks for, whatever the knob."""

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
        if since_s <= 0:
            return self._from
        return self._from + (self._to - self._from) * since_s / self._turned_for_s

    def turning(self, at_s: float) -> bool:
        return at_s - self._turned_at_s < self._turned_for_s

    def output(self, at_s: float, rest_v: float, bank_ohm: float, mains: bool) -> Output:
        """Into a bank that rests at ``rest_v`` and rises by ``bank_ohm`` volts per ampere."""
        knob, mains_factor = self.knob(at_s), self._mains_factor(mains)
        given = self._forward(knob, mains_factor, rest_v, bank_ohm)
        if self.reverse_ohm is None:
            return given
        drop_v = min(self._behind_v(knob, mains_factor) - rest_v, 0.0)
        back_a = drop_v / (self.reverse_ohm + bank_ohm)
        return replace(given, current_a=given.current_a + back_a, peak_a=given.peak_a + back_a)

    def iron_w(self, at_s: float, mains: bool) -> float:  # noqa: ARG002  # most have no iron
        """Lost in the transformer's core, whether or not it gives anything."""
        return 0.0

    def _mains_factor(self, mains: bool) -> float:
        return self.sag_factor if mains else 0.0

    @abstractmethod
    def _forward(self, knob: float, mains_factor: float, rest_v: float, bank_ohm: float) -> Output:
        """What it gives while it is whole."""

    @abstractmethod
    def _behind_v(self, knob: float, mains_factor: float) -> float:
        """Mean voltage behind the rectifier: what a reverse current flows against."""
