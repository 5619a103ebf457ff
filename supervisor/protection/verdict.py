"""A rule's answer: clear, timing, trip, or cannot tell."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Protocol, runtime_checkable

from supervisor.readings import Readings


class State(Enum):
    CLEAR = "clear"
    TIMING = "timing"  # over the limit, delay or count not yet complete
    TRIP = "trip"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Verdict:
    """One rule's answer in one cycle.

    ``measured`` and ``limit`` are in ``unit``; ``measured`` is None when there is nothing to
    show. ``since_s`` is when the present state began to build up (start of timing; of "cannot
    tell", which ``Protection`` fills in), None while clear. ``reason`` is a sentence for the
    operator; ``remedy``, where this answer knows better than its rule, what to check before a
    reset. ``left_s`` is the time until it trips if things stay as they are, None when they may stay
    so, or nobody can tell. ``by_doubt``: a trip not because a limit is passed, but because nobody
    could tell for too long.
    """

    rule: str
    state: State
    measured: float | None
    limit: float
    unit: str
    since_s: float | None
    reason: str
    remedy: str = ""
    left_s: float | None = None
    by_doubt: bool = False


Memory = Mapping[str, float]  # what a rule must not forget, by names of its own


@runtime_checkable
class Remembers(Protocol):
    """A rule whose state outlives a restart: heat does not go away with the process."""

    def memory(self, now_s: float) -> Memory:
        """What to keep, as it stands now."""
        ...

    def recall(self, memory: Memory | None, now_s: float, *, is_whole: bool) -> None:
        """Go on from there. Not whole: more happened after it was kept, nobody knows what.

        None: something was, and nothing is known of it. Assume the worst that is credible.
        """
        ...


class Rule(Protocol):
    """A protection rule: pure, fed with every cycle's readings, never with a clock of its own."""

    key: str  # its settings key, and its name in every output
    function: str  # IEEE C37.2 function number
    remedy: str  # what to check before a reset

    def judge(self, readings: Readings, now_s: float) -> Verdict: ...
