"""What is measured, second by second: means over whole windows tell microvolts."""

from math import isfinite
from typing import NamedTuple

from supervisor.protection.believed import believed
from supervisor.readings import Channel, Readings
from supervisor.settings.fitted import fitted_cells
from supervisor.settings.model import SupervisorSettings

LENGTH_S = 1.0
LONGEST_S = 1.5  # with more time missing it is begun anew


class Second(NamedTuple):
    """Means around ``at_s``: volts of each cell channel, amperes; ``unsure_a`` is the expanded
    uncertainty of those."""

    at_s: float
    volts: dict[Channel, float]
    amperes: float
    unsure_a: float

    @property
    def front_v(self) -> float:
        return self.volts[Channel.FRONT_CELL]

    @property
    def highest(self) -> Channel:
        return max(self.volts, key=lambda channel: self.volts[channel])

    @property
    def highest_v(self) -> float:
        return max(self.volts.values())

    def lag_v(self, bars_ohm: float) -> float | None:
        """Front minus far cell, the drop along the bars taken out; None without a far cell."""
        far_v = self.volts.get(Channel.FAR_CELL)
        return None if far_v is None else self.front_v - far_v - self.amperes * bars_ohm


class Seconds:
    """Gathers windows in which every channel tells."""

    def __init__(self, settings: SupervisorSettings) -> None:
        self._cells = fitted_cells(settings)
        self._count = round(LENGTH_S / settings.loop.window_s)
        self._points: list[tuple[float, ...]] = []  # when, A, its uncertainty, V ...

    def take(self, readings: Readings) -> Second | None:
        """The second that this cycle's window completes, else None."""
        point = self._point(readings)
        if point is None:
            return None
        if self._points and point[0] - self._points[0][0] > LONGEST_S:
            self._points.clear()
        self._points.append(point)
        if len(self._points) < self._count:
            return None
        at_s, amperes, unsure_a, *volts = (
            sum(column) / len(column) for column in zip(*self._points, strict=True)
        )
        self._points.clear()
        return Second(at_s, dict(zip(self._cells, volts, strict=True)), amperes, unsure_a)

    def _point(self, readings: Readings) -> tuple[float, ...] | None:
        window = readings.window
        if window is None or not readings.window_is_new:
            return None
        values = [believed(window.get(channel)) for channel in (Channel.SHUNT, *self._cells)]
        if not all(value is not None and isfinite(value) for value in values):
            return None
        shunt = window[Channel.SHUNT]
        amperes, *volts = (value for value in values if value is not None)
        return (shunt.taken_at_s, amperes, shunt.uncertainty, *volts)
