"""A small regulated supply: constant current, then constant voltage, without ripple."""

from supervisor.simulator.output import NOTHING, Output
from supervisor.simulator.parts.supply import BenchSupplySettings
from supervisor.simulator.source import Source

MAINS_NEEDED = 0.8  # of the nominal voltage; below it the supply gives nothing


class BenchSupply(Source):
    """The knob sets the voltage, 0 to the limit; the limit of the current is fixed.

    It regulates at its own terminals: the leads' drop is the bank's loss.
    """

    def __init__(self, settings: BenchSupplySettings) -> None:
        super().__init__(settings.knob, 2 * settings.mains_hertz)
        self._limit_v = settings.limit_volts
        self._limit_a = settings.limit_amperes
        self._lead_ohm = settings.lead_milliohms / 1000

    def _forward(self, knob: float, mains_factor: float, rest_v: float, bank_ohm: float) -> Output:
        drive_v = self._behind_v(knob, mains_factor) - rest_v
        if drive_v <= 0:
            return NOTHING
        amperes = min(drive_v / (self._lead_ohm + bank_ohm), self._limit_a)
        return Output(current_a=amperes, peak_a=amperes)

    def _behind_v(self, knob: float, mains_factor: float) -> float:
        return self._limit_v * knob if mains_factor >= MAINS_NEEDED else 0.0
