"""Time without a believable reading, with a memory for faults that come and go."""

DRAIN = 1 / 9
AT_A_STRETCH = 0.9  # of the limit: a fault that has lasted less, and trips, has come and gone


class LostTime:
    """A leaky bucket of lost seconds.

    Lost time fills it; time well spent drains it at a ninth of that pace. A fault that stays fills
    it after ``limit_s``. One that comes and goes fills it later, so long as more than a tenth of
    the time is lost: every second reading bad, after 2.25 times as long. Isolated bad readings
    never do. It holds no more than ``limit_s``, so that a fault mended is forgotten after nine
    times as long.
    """

    __slots__ = ("_last_s", "_limit_s", "_lost_s")

    def __init__(self, limit_s: float) -> None:
        self._limit_s = limit_s
        self._lost_s = 0.0
        self._last_s: float | None = None

    def update(self, lost: bool, now_s: float) -> bool:
        """Count the time since the last call as lost or not; whether the bucket is full."""
        passed_s = 0.0 if self._last_s is None else max(0.0, now_s - self._last_s)
        self._last_s = now_s
        if lost:
            self._lost_s = min(self._limit_s, self._lost_s + passed_s)
        elif self._lost_s:
            self._lost_s = max(0.0, self._lost_s - DRAIN * passed_s)
        return self._lost_s >= self._limit_s
