"""The shunt's zero: what it shows while nothing flows, and how well that is known."""

from collections import deque
from math import sqrt

from supervisor.measurement.uncertainty import COVERAGE_FACTOR, RECTANGULAR
from supervisor.settings.model import SupervisorSettings

OVER_S = 30.0
LEAST_S = 2.0


class Zero:
    """Mean of the shunt's readings over the newest time open; None until that tells something.

    Only the mean must be within ``sensing.zero_amperes``, not every reading: to leave out those
    that noise lifts beyond it would pull the mean towards nothing. Beyond
    ``failed_to_open.current_amperes`` a reading is a current.

    ``unsure_a`` is the expanded uncertainty (k = 2) that it adds to a current: that of a mean (GUM
    4.2.3), or that of a zero which may lie anywhere within the largest that is allowed (GUM 4.3.7).
    """

    def __init__(self, settings: SupervisorSettings) -> None:
        self._largest_a = settings.protection.sensing.zero_amperes
        self._flows_a = settings.protection.failed_to_open.current_amperes
        self._unsure_of_none_a = COVERAGE_FACTOR * self._largest_a / RECTANGULAR
        self._newest: deque[tuple[float, float]] = deque()
        self.amperes: float | None = None
        self.unsure_a = self._unsure_of_none_a

    def take(self, amperes: float, now_s: float) -> None:
        """While open."""
        if abs(amperes) > self._flows_a:
            return
        self._newest.append((now_s, amperes))
        while now_s - self._newest[0][0] > OVER_S:
            self._newest.popleft()
        if now_s - self._newest[0][0] >= LEAST_S:
            self._learn([a for _, a in self._newest])

    def forget(self) -> None:
        """Closed: what is gathered next is of another time."""
        self._newest.clear()

    def _learn(self, amperes: list[float]) -> None:
        n = len(amperes)
        mean = sum(amperes) / n
        if abs(mean) > self._largest_a:
            self.amperes, self.unsure_a = None, self._unsure_of_none_a
            return
        variance = sum((a - mean) ** 2 for a in amperes) / (n - 1)
        self.amperes, self.unsure_a = mean, COVERAGE_FACTOR * sqrt(variance / n)
