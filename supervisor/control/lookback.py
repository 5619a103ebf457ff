"""What was measured of late, for the story of a trip."""

from collections import deque

from supervisor.protection.believed import believed
from supervisor.readings import Channel, Readings
from supervisor.snapshot import Moment

FINE_WINDOWS = 30  # every window's mean: the last three seconds or six
COARSE_S = 1.0
COARSE_COUNT = 60

_Point = tuple[float, dict[Channel, float | None]]


class Lookback:
    """The newest means window by window, and before them one a second for a minute."""

    def __init__(self) -> None:
        self._fine: deque[_Point] = deque(maxlen=FINE_WINDOWS)
        self._coarse: deque[_Point] = deque(maxlen=COARSE_COUNT)

    def note(self, readings: Readings) -> None:
        """Once a cycle."""
        window = readings.window
        if not readings.window_is_new or not window:
            return
        at_s = max(reading.taken_at_s for reading in window.values())
        point = (at_s, {channel: believed(reading) for channel, reading in window.items()})
        self._fine.append(point)
        if not self._coarse or at_s - self._coarse[-1][0] >= COARSE_S:
            self._coarse.append(point)

    def moments(self, now_s: float) -> tuple[Moment, ...]:
        """Oldest first."""
        from_s = self._fine[0][0] if self._fine else now_s
        points = [point for point in self._coarse if point[0] < from_s] + list(self._fine)
        return tuple(_moment(now_s - at_s, values) for at_s, values in points)


def _moment(before_s: float, values: dict[Channel, float | None]) -> Moment:
    def rounded(channel: Channel, digits: int) -> float | None:
        value = values.get(channel)
        return None if value is None else round(value, digits)

    return Moment(
        before_s=round(before_s, 3),
        front_cell=rounded(Channel.FRONT_CELL, 4),
        far_cell=rounded(Channel.FAR_CELL, 4),
        shunt=rounded(Channel.SHUNT, 2),
    )
