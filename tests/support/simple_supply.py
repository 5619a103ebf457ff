"""A supply that is an EMF behind a resistance, and a rectifier: what it gives is plain to see."""

from supervisor.simulator.output import NOTHING, Output
from supervisor.simulator.source import Source


class SimpleSupply(Source):
    def __init__(
        self, open_v: float = 5.0, ohm: float = 0.015, knob: float = 1.0, ripple: float = 0.0
    ) -> None:
        super().__init__(knob, 100.0)
        self.open_v = open_v
        self.ohm = ohm
        self.most_a = float("inf")  # a regulated one limits it
        self._ripple = ripple

    def _forward(self, knob: float, mains_factor: float, rest_v: float, bank_ohm: float) -> Output:
        amperes = (self._behind_v(knob, mains_factor) - rest_v) / (self.ohm + bank_ohm)
        amperes = min(amperes, self.most_a)
        if amperes <= 0:
            return NOTHING
        return Output(amperes, amperes * self._ripple, amperes * (1 + self._ripple), amperes)

    def _behind_v(self, knob: float, mains_factor: float) -> float:
        return self.open_v * knob * mains_factor
