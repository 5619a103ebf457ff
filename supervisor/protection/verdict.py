"""A rule's answer: clear, timing, trip, or cannot tell."""

from dataclasses import dataclass
from enum import Enum
from typing import Protocol

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
    operator.
    """

    rule: str
    state: State
    measured: float | None
    limit: float
    unit: str
    since_s: float | None
    reason: str


class Rule(Protocol):
    """A protection rule: pure, fed with every cycle's readings, never with a clock of its own."""

    key: str  # its settings key, and its name in every output
    function: str  # IEEE C37.2 function number
    remedy: str  # what to check before a reset

    def judge(self, readings: Readings, now_s: float) -> Verdict: ...
