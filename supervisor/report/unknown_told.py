"""All times of which the record does not tell what happened, in one list."""

from typing import NamedTuple

from supervisor.journal.writer import COMMIT_EVERY_S
from supervisor.report.figures import Figures
from supervisor.report.words import UNKNOWN, duration

CLOSED = "closed, without good samples"
UNSEEN = (
    "a run ended without a word while closed: from the last sign of life that was kept to the next"
    " start nobody knows whether current flowed"
)
NOT_KEPT = (
    f"What was measured in up to {COMMIT_EVERY_S:.0f} s before the end was not kept: the record is"
    " written to the disk that often."
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
    """How long it was closed, or perhaps closed, without good samples."""
    lengths = [one.length_s for one in figures.unseen]
    if None in lengths:
        return UNKNOWN
    total_s = figures.gaps.total_s + sum(length for length in lengths if length is not None)
    return "none" if total_s < LEAST_S else duration(total_s)


def gap_clause(figures: Figures) -> str:
    """What that is made of, wherever it is told."""
    gaps, parts = figures.gaps, []
    if gaps.total_s >= LEAST_S:
        partly = f", {duration(gaps.partly_s)} of it in moments" if gaps.partly_s >= LEAST_S else ""
        parts.append(f"closed for {duration(gaps.total_s)} without good samples{partly}")
    for one in figures.unseen:
        length = "a time that is not known" if one.length_s is None else duration(one.length_s)
        parts.append(f"perhaps closed for {length} after an end that nobody saw")
    if parts:
        return f"the contactor was {'; '.join(parts)}"
    if not figures.closed:
        return "the contactor was never seen closed"
    return "good samples are there for all the time that the contactor was closed"
