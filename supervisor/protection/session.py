"""What a session has added up to, over all its closings: hours, ampere-hours, hours of hold."""

from math import isfinite

from supervisor.protection.verdict import Memory
from supervisor.readings import ContactorState

SECONDS_PER_HOUR = 3600.0
LONGEST_STEP_WINDOWS = 1.5  # more: a window is missing in between


class SessionCount:
    """Integral of a rate over the time closed; ``counted`` is in its units times hours.

    Trapezoids between the rates given. Where a rate is missing, the larger of its neighbours
    holds all the time between them: what is not known never counts as less. An opening comes
    before the next rate, there the last one holds. That stays short: permission to be closed runs
    out when a rate cannot be told.

    A session goes on through openings and restarts. It ends with the next closing once its limit
    is used up, as that takes a reset by hand, or after the circuit was open for long. How long it
    was open before a restart is not known, and not counted.
    """

    def __init__(self, new_after_open_s: float, window_s: float) -> None:
        self._new_after_open_s = new_after_open_s
        self._longest_step_s = LONGEST_STEP_WINDOWS * window_s
        self._closed_at_s: float | None = None
        self._opened_at_s: float | None = None
        self._counted_to_s = 0.0
        self._begin()

    def _begin(self) -> None:
        self.counted = 0.0
        self.is_whole = True  # nothing of this session is missing in it
        self.is_used_up = False  # its limit has tripped
        self._rate: float | None = None

    def follow(self, contactor: ContactorState) -> bool:
        """Whether it is closed. To be called before anything is counted."""
        told_at_s = contactor.told_at_s
        if not contactor.told_to_close:
            if self._closed_at_s is not None:
                self._end_closing(told_at_s)
            self._opened_at_s = told_at_s
            return False
        if told_at_s != self._closed_at_s:
            self._begin_closing(told_at_s)
        return True

    def _begin_closing(self, at_s: float) -> None:
        opened_at_s = self._opened_at_s
        was_long = opened_at_s is not None and at_s - opened_at_s >= self._new_after_open_s
        if was_long or self.is_used_up:
            self._begin()
        self._closed_at_s, self._opened_at_s = at_s, None
        self._counted_to_s, self._rate = at_s, None

    def _end_closing(self, at_s: float) -> None:
        if self._rate is not None:
            self.count(self._rate, at_s)
        self._closed_at_s = self._rate = None

    def count(self, rate: float, at_s: float) -> None:
        """Count up to this time, with the rate that holds then. A time before the last: nothing."""
        step_s = at_s - self._counted_to_s
        if step_s < 0:
            return
        before = rate if self._rate is None else self._rate
        is_gap = step_s > self._longest_step_s
        mean = max(before, rate) if is_gap else (before + rate) / 2
        self.counted += mean * step_s / SECONDS_PER_HOUR
        self._counted_to_s, self._rate = at_s, rate

    def add(self, amount: float) -> None:
        """Of what happens at once, not over time."""
        self.counted += amount

    def left_s(self, limit: float) -> float | None:
        """Time until the limit at the rate that holds now; None when it never comes."""
        if not self._rate:
            return None
        return max(0.0, limit - self.counted) / self._rate * SECONDS_PER_HOUR

    def memory(self) -> Memory:
        return {
            "counted": self.counted,
            "is_whole": float(self.is_whole),
            "is_used_up": float(self.is_used_up),
        }

    def recall(self, memory: Memory | None, *, is_whole: bool) -> None:
        """Go on with a session. One that is not known, or not sound, counts from zero anew.

        Not whole: a closing is missing. When the limit was used up before it, it began a session.
        """
        self._begin()
        kept = _sound(memory)
        self.is_whole = is_whole and kept is not None and bool(kept["is_whole"])
        if kept is not None and (is_whole or not kept["is_used_up"]):
            self.counted = kept["counted"]
            self.is_used_up = bool(kept["is_used_up"])


def _sound(memory: Memory | None) -> Memory | None:
    """The memory when it can have been one of ours."""
    if memory is None or memory.keys() != {"counted", "is_whole", "is_used_up"}:
        return None
    flags = {memory["is_whole"], memory["is_used_up"]}
    counted = memory["counted"]
    return memory if flags <= {0.0, 1.0} and isfinite(counted) and counted >= 0 else None
