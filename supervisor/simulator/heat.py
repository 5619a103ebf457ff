"""How warm the parts of the plant are: the square of the current heats them, first order."""

import math

from supervisor.readings import Place
from supervisor.simulator.parts.thermal import ThermalSettings
from supervisor.simulator.plant import Plant

REFERENCE_A = 100.0


class Heat:
    """True temperatures. Between two solutions of the circuit the current stands still.

    ``ambient_c`` and ``added_k`` (a blocked fan: so much hotter in the end) may be changed, from
    within ``Rig.change``.
    """

    def __init__(self, plant: Plant, settings: ThermalSettings, start_s: float) -> None:
        self._plant = plant
        self._parts = {place: getattr(settings, place.value) for place in Place}
        self._rise_k = dict.fromkeys(Place, 0.0)
        self._settled_s = start_s
        self.ambient_c = settings.ambient_celsius
        self.added_k = dict.fromkeys(Place, 0.0)
        plant.before_change.append(self.settle)

    def celsius(self, place: Place, at_s: float) -> float:
        self._plant.advance(at_s)
        self.settle(at_s)
        return self.ambient_c + self._rise_k[place]

    def settle(self, at_s: float) -> None:
        """Everything moves towards what the present current leads to, until then."""
        span_s = at_s - self._settled_s
        if span_s <= 0:
            return
        self._settled_s = at_s
        load = (self._plant.current_a / REFERENCE_A) ** 2
        for place, part in self._parts.items():
            final_k = part.kelvin_at_100_amperes * load + self.added_k[place]
            kept = math.exp(-span_s / part.time_constant_seconds)
            self._rise_k[place] = final_k + (self._rise_k[place] - final_k) * kept
