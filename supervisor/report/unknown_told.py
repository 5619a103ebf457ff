"""All times of which the record does not tell what happened, in one list."""

from typing import NamedTuple

from supervisor.report.figures import Figures
from supervisor.report.words import UNKNOWN, duration

CLOSED = "closed, without good samples"
UNSEEN = (
    "a run ended without a word while closed: from its last sign of life to the next start nobody"
    " knows whether current flowed"
)
LEAST_S = 0.5  # of single windows: less is no gap


class Untold(NamedTuple):
    """``length_s`` None: the clock could not tell."""

    from_s: float
    to_s: float
    length_s: float | None
    words: str


def untold_times(figures: Figures) -> list[Untold]:
    """In the order of time."""
    found = [Untold(gap.from_s, gap.to_s, gap.length_s, CLOSED) for gap in figures.gaps.whole]
    found += [Untold(one.from_s, one.to_s, one.length_s, UNSEEN) for one in figures.unseen]
    found += [
        Untold(hole.from_s, hole.to_s, hole.length_s, f"open, nothing recorded: {hole.why}")
        for hole in figures.holes
    ]
    return sorted(found, key=lambda one: one.from_s)


def gap_words(figures: Figures) -> str:
    """Of the time closed, or perhaps closed."""
    lengths = [one.length_s for one in figures.unseen]
    if None in lengths:
        return UNKNOWN
    total_s = figures.gaps.total_s + sum(length for length in lengths if length is not None)
    return "none" if total_s < LEAST_S else duration(total_s)
