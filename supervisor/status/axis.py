"""Rows of a session's record on one axis: seconds, 0 its newest moment, before it negative.

Within a run of the daemon its monotonic clock tells how rows follow one another; between two runs
only the wall clock can. Where what it says cannot be, the axis has a gap of a fixed width.
"""

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate, groupby
from operator import attrgetter, itemgetter
from typing import NamedTuple

from supervisor.journal.reader import Sample
from supervisor.journal.records import Span
from supervisor.journal.schema import WINDOW_MS

LONGEST_BETWEEN_S = 48 * 3600.0
BREAK_S = 600.0  # drawn so wide where nobody knows how long it took
LOST_S = (
    0.5  # so little missing from a row is a late window or two: it reaches back to the one before
)
SLACK_S = 0.001

_run, _mono_s, _from_s = attrgetter("run"), attrgetter("mono_s"), itemgetter(0)


class Piece(NamedTuple):
    """What was measured from ``from_s`` to ``to_s``: front cell, far cell, current."""

    from_s: float
    to_s: float
    measured: tuple[Span, Span, Span]
    good: float  # share of it in which every channel was told


class Break(NamedTuple):
    """Between two runs: how long it took is unknown."""

    from_s: float
    to_s: float


class Axis:
    """Where the runs of these rows lie; each row list is in the order of time. ``window_s``: how
    long a window of theirs is."""

    def __init__(self, *row_lists: Sequence[Sample], window_s: float = WINDOW_MS / 1000) -> None:
        self._window_s = window_s
        ends: dict[int, tuple[Sample, Sample]] = {}
        for rows in row_lists:
            for run, of_run in groupby(rows, key=_run):
                known = (*of_run, *ends.get(run, ()))
                ends[run] = min(known, key=_mono_s), max(known, key=_mono_s)
        self.breaks: list[Break] = []
        self.newest_wall_s: float | None = None
        self._offsets_s: dict[int, float] = {}
        self._lay([ends[run] for run in sorted(ends, reverse=True)])

    def _lay(self, newest_first: Sequence[tuple[Sample, Sample]]) -> None:
        begins_s, later = 0.0, None
        for first, last in newest_first:
            ends_s = 0.0
            if later is None:
                self.newest_wall_s = last.wall_s
            else:
                between_s = later.wall_s - last.wall_s
                is_known = 0 <= between_s <= LONGEST_BETWEEN_S
                ends_s = begins_s - (between_s if is_known else BREAK_S)
                if not is_known:
                    self.breaks.append(Break(ends_s, begins_s))
            self._offsets_s[last.run] = ends_s - last.mono_s
            begins_s, later = ends_s - (last.mono_s - first.mono_s), first

    def pieces(self, rows: Sequence[Sample], finer: Sequence[Sample] = ()) -> Iterator[Piece]:
        """Of each row as much as it holds windows that no finer row holds.

        It does not tell where in its span they were: they are taken to be the newest of what the
        finer rows leave of it. So a lapse among finer rows is seen as it was; one among others lies
        at the beginning of its row's span.
        """
        covered = joined(self.pieces(finer)) if finer else []
        keys = [(row.run, row.mono_s) for row in finer]
        held = [0, *accumulate(row.windows for row in finer)]
        before, before_s = (0, -math.inf), -math.inf
        for row in rows:
            key, to_s = (row.run, row.mono_s), row.mono_s + self._offsets_s[row.run]
            is_next = to_s - row.span_s < before_s + LOST_S
            measured = (row.front_v, row.far_v, row.current_a)
            good = row.good / row.windows if row.windows else 0.0
            whole = Piece(before_s if is_next else to_s - row.span_s, to_s, measured, good)
            parts, windows = [whole], row.windows
            if finer:
                parts = list(without(parts, covered))
                begins = max(before, (row.run, row.mono_s - row.span_s))
                windows -= held[bisect_right(keys, key)] - held[bisect_right(keys, begins)]
            yield from _newest(parts, windows * self._window_s, LOST_S if is_next else 0.0)
            before, before_s = key, to_s


def _newest(parts: Sequence[Piece], length_s: float, lost_s: float) -> Sequence[Piece]:
    """So much of them, or all when no more than this is missing; oldest first."""
    if length_s <= 0:
        return []
    if sum([part.to_s - part.from_s for part in parts]) <= length_s + lost_s:
        return parts
    kept: list[Piece] = []
    for part in reversed(parts):
        kept.append(part._replace(from_s=max(part.from_s, part.to_s - length_s)))
        length_s -= part.to_s - part.from_s
        if length_s <= SLACK_S:
            break
    return kept[::-1]


def joined(pieces: Iterable[Piece]) -> list[tuple[float, float]]:
    """The stretches of the axis that they cover, oldest first."""
    stretches: list[tuple[float, float]] = []
    for piece in sorted(pieces, key=_from_s):
        if stretches and piece.from_s <= stretches[-1][1] + SLACK_S:
            from_s, to_s = stretches[-1]
            stretches[-1] = from_s, max(to_s, piece.to_s)
        else:
            stretches.append((piece.from_s, piece.to_s))
    return stretches


def without(pieces: Iterable[Piece], stretches: Sequence[tuple[float, float]]) -> Iterator[Piece]:
    """What of each lies outside the stretches; its values are of the whole."""
    begins = [from_s for from_s, _ in stretches]
    for piece in pieces:
        from_s = piece.from_s
        for begins_s, ends_s in stretches[max(0, bisect_right(begins, from_s) - 1) :]:
            if begins_s >= piece.to_s:
                break
            if begins_s > from_s + SLACK_S:
                yield piece._replace(from_s=from_s, to_s=begins_s)
            from_s = max(from_s, ends_s)
        if piece.to_s > from_s + SLACK_S:
            yield piece._replace(from_s=from_s)
