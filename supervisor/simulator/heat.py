"""How warm the parts of the plant are: what is lost in them heats them, first order."""

import math

from supervisor.readings import Place
from supervisor.simulator.parts.thermal import ThermalSettings
from supervisor.simulator.plant import Plant

REFERENCE_A = 100.0


class Heat:
    """True temperatures. Between two solutions of the circuit the losses stand still.

    ``ambient_c`` and ``added_k`` (a blocked fan: so much hotter in the end) may be changed, from
    within ``Rig.change``.
    """

    def __init__(self, plant: Plant, settings: ThermalSettings, start_s: float) -> None:
        self._plant = plant
        self._settings = settings
        self._time_constants_s = {
            place: getattr(settings, place.value).time_constant_seconds for place in Place
        }
        self._rise_k = dict.fromkeys(Place, 0.0)
        self._settled_s = start_s
        self.ambient_c = settings.ambient_celsius
        self.added_k = dict.fromkeys(Place, 0.0)
        plant.before_change.append(self.settle)
        self._warm_cells()

    def celsius(self, place: Place, at_s: float) -> float:
        self._plant.advance(at_s)
        self.settle(at_s)
        return self.ambient_c + self._rise_k[place]

    def settle(self, at_s: float) -> None:
        """Everything moves towards what the present losses lead to, until then."""
        span_s = at_s - self._settled_s
        if span_s <= 0:
            return
        for place, from_losses_k in self._final_k().items():
            final_k = from_losses_k + self.added_k[place]
            kept = math.exp(-span_s / self._time_constants_s[place])
            self._rise_k[place] = final_k + (self._rise_k[place] - final_k) * kept
        self._settled_s = at_s
        self._warm_cells()

    def _warm_cells(self) -> None:
        self._plant.bank.celsius = self.ambient_c + self._rise_k[Place.CELLS]

    def _final_k(self) -> dict[Place, float]:
        """Where the losses since the last solution lead, given time."""
        output, supply, settings = self._plant.output, self._plant.supply, self._settings
        copper_w = 2 * supply.winding_ohm * output.winding_rms_a**2
        iron_w = supply.iron_w(self._settled_s, self._plant.mains_on)
        load = (output.current_a**2 + output.ripple_a**2 / 2) / REFERENCE_A**2
        return {
            Place.HEAT_SINK: settings.heat_sink.kelvin_per_watt * output.rectifier_w,
            Place.TRANSFORMER: settings.transformer.kelvin_per_watt * (copper_w + iron_w),
            Place.CELLS: settings.cells.kelvin_at_100_amperes * load,
        }
