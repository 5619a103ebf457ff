"""How long until the first cell reaches the limit: the forecasts of all cells as one."""

from supervisor.guidance.cues import is_near
from supervisor.guidance.forecast import Forecast, Left
from supervisor.guidance.seconds import Second
from supervisor.readings import Channel
from supervisor.settings.charge import Charge
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings


class ToLimit:
    """Second by second, while closed. ``left`` is the soonest; ``words`` say why none is told."""

    def __init__(self, settings: SupervisorSettings, charge: Charge) -> None:
        limit_v = settings.protection.lowest_trip_v
        flat_v = charge.taper_above_volts
        self._of_cell = {cell: Forecast(limit_v, flat_v) for cell in fitted_cells(settings)}
        self._highest = Channel.FRONT_CELL
        self._level_since_s: float | None = None
        self.has_neared = False  # once since it began anew

    def begin(self, *, anew: bool) -> None:
        """With each closing; ``anew``: with one that somebody asked for."""
        for forecast in self._of_cell.values():
            forecast.begin()
        self._level_since_s = None
        self.has_neared &= not anew

    def take(self, second: Second, ohm: float, now_s: float) -> None:
        """``ohm``: of the bank, as far as it is known."""
        self._highest = second.highest
        for cell, forecast in self._of_cell.items():
            forecast.take(second.at_s, second.volts[cell], second.amperes, ohm)
        self.has_neared |= self.left is not None and is_near(self.left)
        if not all(forecast.is_level for forecast in self._of_cell.values()):
            self._level_since_s = None
        elif self._level_since_s is None:
            self._level_since_s = now_s

    @property
    def left(self) -> Left | None:
        """None when the highest cell's cannot be told, as that comes first."""
        if self._of_cell[self._highest].left is None:
            return None
        known = [f.left for f in self._of_cell.values() if f.left is not None]
        return min(known, key=lambda left: left.low_s)

    @property
    def words(self) -> str:
        return "" if self.left else self._of_cell[self._highest].words

    def level_for_s(self, now_s: float) -> float:
        """So long no cell has risen."""
        return 0.0 if self._level_since_s is None else now_s - self._level_since_s
