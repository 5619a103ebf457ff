"""The shunt's zero: what it shows while nothing flows, and how well that is known."""

from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from math import hypot, sqrt

from supervisor.measurement.uncertainty import COVERAGE_FACTOR, RECTANGULAR
from supervisor.settings.model import SupervisorSettings

OVER_S = 30.0
LEAST_S = 2.0
BATCHES, BATCH_S = 6, 5.0


class Zero:
    """Mean of the shunt's readings over the newest time open; None until that tells something.

    Only the mean must be within ``sensing.zero_amperes``, not every reading: to leave out those
    that noise lifts beyond it would pull the mean towards nothing. Beyond
    ``failed_to_open.current_amperes`` a reading is a current.

    ``unsure_a`` is the expanded uncertainty (k = 2) that it adds to a current: that of a mean (GUM
    4.2.3), or that of a zero which may lie anywhere within the largest that is allowed (GUM 4.3.7).
    Readings that follow one another are not independent (GUM 4.2.7): a zero that wanders is known
    no better than the means of a few seconds agree (batch means: Conway 1963, from memory). A
    wander that is slower than the time looked at shows in nothing: that share of the time which is
    missing counts as not known.
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
        over_s = now_s - self._newest[0][0]
        if over_s >= LEAST_S:
            self._learn([a for _, a in self._newest], over_s)

    def forget(self) -> None:
        """Closed: what is gathered next is of another time."""
        self._newest.clear()

    def _learn(self, amperes: list[float], over_s: float) -> None:
        self.amperes, self.unsure_a = None, self._unsure_of_none_a
        mean = _mean(amperes)
        if abs(mean) > self._largest_a:
            return
        count = min(BATCHES, max(1, round(over_s / BATCH_S)), len(amperes))
        edges = [k * len(amperes) // count for k in range(count + 1)]
        means = [_mean(amperes[a:b]) for a, b in pairwise(edges)]
        wanders_a = COVERAGE_FACTOR * max(_unsure_of_mean(amperes), _unsure_of_mean(means))
        not_seen_a = self._unsure_of_none_a * (1 - count / BATCHES)
        self.amperes, self.unsure_a = mean, hypot(wanders_a, not_seen_a)


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def _unsure_of_mean(values: Sequence[float]) -> float:
    """Standard uncertainty, were they independent; of a single one nothing can be said."""
    n, mean = len(values), _mean(values)
    return sqrt(sum((v - mean) ** 2 for v in values) / (n - 1) / n) if n > 1 else 0.0
