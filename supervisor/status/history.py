"""The record of a session as a page shows it: few points, honest ones, from the journal."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any, NamedTuple

from supervisor.journal.reader import TEN_SECONDS_MS, NoJournal, Reader, Sample, Session
from supervisor.journal.records import Span
from supervisor.journal.schema import MINUTE_MS, SECOND_MS, WINDOW_MS
from supervisor.status.axis import BREAK_S, Axis, Piece, joined
from supervisor.status.buckets import in_buckets

MINUTE_S = 60.0
WINDOWS_MS = (100, 200)  # that there may be, see settings.model
FINE_UP_TO_S = 7200.0  # so much is shown by rows of a second or of ten; more by rows of a minute
LEAST_GAP_S = 1.0
MOST_SESSIONS = 50
CHANNELS = (("front", "v"), ("far", "v"), ("current", "a"))
COLUMNS = (
    "before_s",
    *(f"{name}_{which}_{unit}" for name, unit in CHANNELS for which in ("low", "mean", "high")),
)
THINNED = "The rows of a second were given up for space; these are of a minute."
BROKEN = (
    "Between two runs of the supervisor its clock was set, so nobody knows how long it took: "
    f"drawn as {BREAK_S / MINUTE_S:.0f} min."
)
NOTHING = "Nothing is recorded of this session yet."


class Asked(NamedTuple):
    """``minutes`` None: the whole session. ``session`` None: the newest one."""

    minutes: int | None
    session: int | None
    points: int

    @property
    def length_s(self) -> float:
        return math.inf if self.minutes is None else self.minutes * MINUTE_S


@dataclass(frozen=True)
class History:
    """``spans``: front cell, far cell, current; one a bucket, oldest first, the last ends at 0.

    What is more than ``dated_s`` before the newest moment cannot be dated: the clock was set.
    """

    session: Session
    newest_wall_s: float | None
    bucket_s: float
    spans: list[list[Span]]
    gaps: list[tuple[float, float]]
    dated_s: float
    note: str

    def utc(self, before_s: float) -> str:
        """Of a moment so long before the newest one; empty when it cannot be dated."""
        if self.newest_wall_s is None or before_s > self.dated_s:
            return ""
        return utc(self.newest_wall_s - before_s)

    def rows(self) -> Iterator[tuple[float, list[float | None]]]:
        """Seconds before the newest moment, and the values, as ``COLUMNS``."""
        count = len(self.spans[0])
        for number, (front, far, current) in enumerate(zip(*self.spans, strict=True)):
            before_s = (count - 1 - number) * self.bucket_s
            values = (v for s in (front, far, current) for v in (s.low, s.mean, s.high))
            yield before_s, [None if v is None else round(v, 5) for v in values]

    def as_dict(self) -> dict[str, Any]:
        session, rows = self.session, [(before_s, *values) for before_s, values in self.rows()]
        return {
            "session": session.id,
            "bank": session.bank,
            "simulated": session.is_simulated,
            "profile": session.profile,
            "began_utc": utc(session.began_wall_s),
            "newest_utc": self.utc(0.0) or None,
            "bucket_s": self.bucket_s,
            "columns": {name: [row[at] for row in rows] for at, name in enumerate(COLUMNS)},
            "gaps": [[round(-from_s, 3), round(-to_s, 3)] for from_s, to_s in self.gaps],
            "note": self.note,
        }


def sessions(reader: Reader) -> list[dict[str, Any]]:
    """The newest first."""
    return [
        {
            "id": session.id,
            "began_utc": utc(session.began_wall_s),
            "profile": session.profile,
            "cells": session.cells,
            "simulated": session.is_simulated,
            "trips": session.trips,
        }
        for session in reversed(reader.sessions()[-MOST_SESSIONS:])
    ]


def history(reader: Reader, asked: Asked) -> History:
    """Raises NoJournal, with words, when there is no such session."""
    session = _session(reader, asked.session)
    fine, coarse = _rows(reader, session.id, asked)
    axis = Axis(coarse, fine, window_s=_window_s(session))
    pieces = _within([*axis.pieces(coarse, fine), *axis.pieces(fine)], asked.length_s)
    extent_s = -min((piece.from_s for piece in pieces), default=0.0)
    unit_s = fine[0].span_s if fine else MINUTE_S
    bucket_s = unit_s * max(1, math.ceil(extent_s / asked.points / unit_s))
    count = math.ceil(round(extent_s / bucket_s, 6))
    gaps = _gaps(joined(pieces))
    spans = in_buckets(pieces, bucket_s, count)
    dated_s = min((-b.to_s for b in axis.breaks), default=math.inf)
    notes = (
        NOTHING if not pieces else "",
        THINNED if session.is_thinned and pieces and not fine else "",
        BROKEN if dated_s < extent_s else "",
    )
    note = " ".join(filter(None, notes))
    return History(session, axis.newest_wall_s, bucket_s, spans, gaps, dated_s, note)


def _session(reader: Reader, number: int | None) -> Session:
    known = reader.sessions()
    for session in reversed(known):
        if number in (None, session.id):
            return session
    if not known:
        raise NoJournal("the journal has no session yet: nothing was ever closed")
    raise NoJournal(f"there is no session {number} in the journal")


def _window_s(session: Session) -> float:
    """As its settings had it."""
    loop = session.settings.get("loop")
    told_ms = loop.get("window_milliseconds") if isinstance(loop, dict) else None
    return (told_ms if told_ms in WINDOWS_MS else WINDOW_MS) / 1000


def _rows(reader: Reader, session: int, asked: Asked) -> tuple[list[Sample], list[Sample]]:
    """Finer rows as far as they are worth it, and rows of a minute for all of it."""
    length_s = asked.length_s
    is_fine = length_s <= FINE_UP_TO_S
    if length_s < math.inf:
        coarse = reader.newest_samples(session, MINUTE_MS, length_s + MINUTE_S)
        if _extent_s(coarse) >= length_s:
            span_ms = _fine_ms(length_s, asked.points)
            return reader.newest_samples(session, span_ms, length_s) if is_fine else [], coarse
    coarse = list(reader.samples(session, MINUTE_MS))  # it is not all in the newest run
    extent_s = _extent_s(coarse)
    span_ms = _fine_ms(min(extent_s, length_s), asked.points)
    if extent_s <= FINE_UP_TO_S:
        return list(reader.samples(session, span_ms)), coarse
    return reader.newest_samples(session, span_ms, length_s) if is_fine else [], coarse


def _fine_ms(extent_s: float, points: int) -> int:
    """Of the rows: no finer than what is shown of them."""
    return SECOND_MS if extent_s * 1000 < points * TEN_SECONDS_MS else TEN_SECONDS_MS


def _extent_s(rows: Sequence[Sample]) -> float:
    return -min((piece.from_s for piece in Axis(rows).pieces(rows)), default=0.0)


def _within(pieces: Sequence[Piece], length_s: float) -> list[Piece]:
    return [
        piece if piece.from_s >= -length_s else piece._replace(from_s=-length_s)
        for piece in pieces
        if piece.to_s > -length_s
    ]


def _gaps(stretches: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    return [
        (before[1], after[0])
        for before, after in pairwise(stretches)
        if after[0] - before[1] > LEAST_GAP_S
    ]


def utc(wall_s: float) -> str:
    return f"{datetime.fromtimestamp(wall_s, UTC):%Y-%m-%dT%H:%M:%SZ}"
