"""The supplies: a home-built unregulated one, and a small regulated one for the last hours.

``build_supply`` is the one place that knows which settings make which.
"""

import math

from supervisor.simulator.bench_supply import BenchSupply
from supervisor.simulator.output import Output
from supervisor.simulator.parts.supply import BenchSupplySettings, SupplySettings
from supervisor.simulator.rectifier_circuit import RectifierCircuit
from supervisor.simulator.rectifier_table import table_of
from supervisor.simulator.source import Source

MEAN_OF_RECTIFIED = 2 * math.sqrt(2) / math.pi


def build_supply(settings: SupplySettings | BenchSupplySettings) -> Source:
    if isinstance(settings, BenchSupplySettings):
        return BenchSupply(settings)
    return Supply(settings)


class Supply(Source):
    """Variable autotransformer, step-down transformer, two diodes, capacitor; no regulation.

    It is always in its periodic steady state: the capacitor settles within a few half-periods.
    """

    def __init__(self, settings: SupplySettings) -> None:
        circuit = circuit_of(settings)
        super().__init__(settings.knob, 2 * settings.mains_hertz, circuit.winding_ohm)
        self._half_v = settings.mains_volts / settings.turns_ratio
        self._iron_w = settings.iron_watts
        self._table = table_of(circuit)

    def prepare(self, emfs_v: tuple[float, float], most_ohm: float) -> None:
        self._table.prepare(self._half_v, emfs_v, most_ohm)

    def iron_w(self, at_s: float, mains: bool) -> float:
        """Goes with the square of the voltage behind the knob."""
        return self._iron_w * (self.knob(at_s) * self._mains_factor(mains)) ** 2

    def _forward(self, knob: float, mains_factor: float, rest_v: float, bank_ohm: float) -> Output:
        return self._table.output(self._half_v * knob * mains_factor, rest_v, bank_ohm)

    def _behind_v(self, knob: float, mains_factor: float) -> float:
        return MEAN_OF_RECTIFIED * self._half_v * knob * mains_factor


def circuit_of(settings: SupplySettings) -> RectifierCircuit:
    return RectifierCircuit(
        mains_hz=settings.mains_hertz,
        winding_ohm=settings.winding_milliohms / 1000,
        leakage_h=settings.leakage_microhenries * 1e-6,
        capacitor_f=settings.capacitor_farads,
        output_ohm=settings.output_milliohms / 1000,
        saturation_a=settings.diode_saturation_amperes,
        ideality=settings.diode_ideality,
        diode_ohm=settings.diode_milliohms / 1000,
    )
