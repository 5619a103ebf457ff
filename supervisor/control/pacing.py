"""The beat of the loop: due times, lateness, missed deadlines; no burst of catch-up."""

from bisect import bisect_left

from supervisor.devices.protocols import Clock
from supervisor.readings import Pace
from supervisor.snapshot import LATE_UP_TO_S


class Pacer:
    """Cycles begin ``period_s`` apart. One that ends after the next is due misses its deadline."""

    def __init__(self, clock: Clock, period_s: float) -> None:
        self._clock = clock
        self._period_s = period_s
        self._due_s = clock.now_s()
        self.misses = 0
        self.worst_late_s = 0.0
        self.late_cycles = [0] * (len(LATE_UP_TO_S) + 1)
        self.late_sum_s = 0.0

    def wait(self) -> Pace:
        """Sleep until the next cycle is due; tell how late it begins."""
        self._clock.sleep_until(self._due_s)
        now_s = self._clock.now_s()
        late_s = now_s - self._due_s
        self.worst_late_s = max(self.worst_late_s, late_s)
        self.late_cycles[bisect_left(LATE_UP_TO_S, late_s)] += 1
        self.late_sum_s += max(0.0, late_s)
        missed = int(late_s / self._period_s)
        self.misses += missed
        self._due_s += (missed + 1) * self._period_s
        return Pace(late_s, self.misses)

    def restart(self) -> None:
        """After a pause on purpose: the next cycle is due now, and nothing was missed."""
        self._due_s = self._clock.now_s()
