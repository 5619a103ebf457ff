"""The shunt: its resistance goes with its own heat."""

import math

from supervisor.simulator.parts.sensing import ShuntSettings
from supervisor.simulator.plant import Plant


class Shunt:
    """Gives the current that its millivolts stand for, by the rating on its plate.

    Heat is I^2 R into one thermal resistance and one time constant, exact between two solutions
    of the circuit. The plate holds at ambient; ``drift`` is a change for good, relative.
    """

    def __init__(
        self, settings: ShuntSettings, plant: Plant, *, ohm: float, start_s: float
    ) -> None:
        self._plant = plant
        self._per_kelvin = settings.ppm_per_kelvin * 1e-6
        self._kelvin_per_square_ampere = ohm * settings.kelvin_per_watt
        self._constant_s = settings.time_constant_seconds
        self._settled_s = start_s
        self.above_ambient_k = 0.0
        self.drift = 0.0
        plant.before_change.append(self.settle)

    def settle(self, at_s: float) -> None:
        kept = math.exp((self._settled_s - at_s) / self._constant_s)
        target_k = self._plant.current_a**2 * self._kelvin_per_square_ampere
        self.above_ambient_k = target_k + (self.above_ambient_k - target_k) * kept
        self._settled_s = at_s

    def shown_a(self) -> tuple[float, float]:
        """Mean and amplitude of the ripple."""
        factor = 1 + self.drift + self._per_kelvin * self.above_ambient_k
        return self._plant.current_a * factor, self._plant.current_ripple_a * factor
