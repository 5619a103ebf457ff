"""Reads the journal, while it is written perhaps: sessions, their samples, events, progress.

Read-only, from another process; the writer is never held up by it. Raises NoJournal. A value that
nobody can have written is unknown, see ``sound``; ``damage`` tells of it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from supervisor.journal.codes import SESSION_GOES_ON, UNSEEN_END
from supervisor.journal.pruning import CODES_OF_TRIPS
from supervisor.journal.reading import NoJournal, ReadOnlyFile, Unreadable
from supervisor.journal.records import Span
from supervisor.journal.schema import MINUTE_MS, SECOND_MS, WINDOW_MS
from supervisor.journal.sound import block

__all__ = [
    "EventRow", "NoJournal", "ProgressRow", "Reader", "Sample", "Session", "TemperatureRow",
    "Unreadable",
]  # fmt: skip
SAMPLES = (
    "SELECT wall_ms, mono_ms, run, span_ms, front_v, front_low_v, front_high_v,"
    " far_v, far_low_v, far_high_v, current_a, current_low_a, current_high_a,"
    " good, windows FROM sample"
)
SPANS_MS = (WINDOW_MS, SECOND_MS, MINUTE_MS)
TEN_SECONDS_MS = 10_000  # no such rows are kept: those of a second, folded as they are read
WEIGHT = "coalesce(nullif(good, 0), windows)"
FOLDED = (
    f"SELECT max(wall_ms), max(mono_ms), run, {TEN_SECONDS_MS}, "
    + ", ".join(
        f"sum({name}_{unit} * {WEIGHT}) / sum({WEIGHT}) FILTER (WHERE {name}_{unit} IS NOT NULL),"
        f" min({name}_low_{unit}), max({name}_high_{unit})"
        for name, unit in (("front", "v"), ("far", "v"), ("current", "a"))
    )
    + ", sum(good), sum(windows) FROM sample"
)
ROWS_AT_ONCE = 10_000
# In the table itself: a trip counts, even one that no view shows, as it has no place in time.
NOTED = "SELECT count(*) FROM main.event e WHERE e.session = s.id AND CAST(e.code AS TEXT)"
SESSIONS = f"""
    SELECT s.id, s.bank, s.cells, s.profile, s.is_simulated, s.wall_s, s.ended_wall_s,
        s.is_thinned, t.text, s.settings, r.version,
        ({NOTED} IN ({CODES_OF_TRIPS})), ({NOTED} = '{UNSEEN_END}'),
        max(s.run,
            coalesce((SELECT max(run) FROM event e WHERE e.session = s.id), 0),
            coalesce((SELECT max(run) FROM progress p WHERE p.session = s.id), 0))
    FROM session s LEFT JOIN settings t ON t.sha256 = s.settings LEFT JOIN run r ON r.id = s.run
    ORDER BY s.id
"""
GOES_ON = f"SELECT data FROM event WHERE session = ? AND code = '{SESSION_GOES_ON}' ORDER BY id"


@dataclass(frozen=True, slots=True)
class Session:
    """One charge. Times are UTC since 1970; ``ended_wall_s`` None: it may go on.

    ``trips``: every ``trip``, and every run that ended unseen while closed. ``profiles``: all that
    it was closed with, ``profile`` the first.
    """

    id: int
    bank: str
    cells: int
    profile: str
    is_simulated: bool
    began_wall_s: float
    ended_wall_s: float | None
    is_thinned: bool
    settings: dict[str, Any]
    settings_sha256: str
    version: str
    trips: int
    newest_run: int  # of the daemon, in which something of it was written
    unseen_ends: int
    profiles: tuple[str, ...]


class Sample(NamedTuple):
    """A span of time, by its end. Counted from the session's first row, over all runs."""

    wall_s: float
    mono_s: float
    run: int
    span_s: float
    front_v: Span
    far_v: Span
    current_a: Span
    good: int
    windows: int


class RunRow(NamedTuple):
    """One life of the daemon, by its start."""

    id: int
    mono_s: float
    wall_s: float
    bank: str
    is_simulated: bool


class EventRow(NamedTuple):
    id: int
    wall_s: float
    mono_s: float
    run: int
    code: str
    text: str
    data: dict[str, Any]


class ProgressRow(NamedTuple):
    wall_s: float
    mono_s: float
    run: int
    circuit: str
    stage: str
    charged_ah: float | None
    charged_u_ah: float | None
    charged_wh: float | None
    is_whole: bool
    zero_a: float | None
    at_rest_v: float | None
    resistance_ohm: float | None


class TemperatureRow(NamedTuple):
    wall_s: float
    mono_s: float
    run: int
    probe: str
    celsius: float | None


class Reader(ReadOnlyFile):
    """Of one file, which is open as long as this is."""

    def sessions(self) -> list[Session]:
        """Oldest first."""
        return self._look(SESSIONS, (), self._session)

    def session(self, number: int) -> Session | None:
        return next((s for s in self.sessions() if s.id == number), None)

    def _session(self, row: Sequence[Any]) -> Session:
        number, bank, cells, profile, is_simulated, began, ended, is_thinned, text, *rest = row
        digest, version, trips, unseen_ends, newest_run = rest
        later = self._look(GOES_ON, (number,), lambda row: block(row[0]).get("profile"))
        return Session(
            id=number, bank=bank, cells=cells, profile=profile, is_simulated=bool(is_simulated),
            began_wall_s=began, ended_wall_s=ended, is_thinned=bool(is_thinned),
            settings=block(text or ""), settings_sha256=digest, version=version or "", trips=trips,
            newest_run=newest_run, unseen_ends=unseen_ends,
            profiles=tuple(dict.fromkeys([profile, *(p for p in later if isinstance(p, str))])),
        )  # fmt: skip

    def samples(self, session: int, span_ms: int) -> Iterator[Sample]:
        """In the order of time. In pieces: who takes them slowly holds nobody up."""
        after = (0, -1)
        while rows := self._look(
            f"{_in_order(span_ms, '(run, mono_ms) > (?, ?)')} LIMIT ?",
            (session, *after, ROWS_AT_ONCE),
            lambda row: ((row[2], row[1]), _sample(row)),
        ):
            yield from (sample for _, sample in rows)
            after = rows[-1][0]

    def newest_samples(self, session: int, span_ms: int, within_s: float) -> list[Sample]:
        """Of the newest run, no older than this before its last one; in the order of time."""
        last = self._look(
            "SELECT run, mono_ms FROM sample WHERE session = ? AND span_ms = ?"
            " ORDER BY run DESC, mono_ms DESC LIMIT 1",
            (session, _kept(span_ms)),
            tuple,
        )
        if not last:
            return []
        ((run, mono_ms),) = last
        return self._look(
            _in_order(span_ms, "run = ? AND mono_ms > ?"),
            (session, run, mono_ms - within_s * 1000),
            _sample,
        )

    def runs(self) -> list[RunRow]:
        return self._look(
            "SELECT id, mono_s, wall_s, bank, is_simulated FROM run ORDER BY id",
            (),
            lambda row: RunRow._make((*row[:4], bool(row[4]))),
        )

    def counted(self) -> str:
        """What a session had counted when that was told last; empty: never. Odd or not, as it
        is."""
        newest = "FROM main.run WHERE counted IS NOT NULL ORDER BY id DESC LIMIT 1"
        told = self._look(f"SELECT CAST(counted AS TEXT) {newest}", (), lambda row: str(row[0]))
        return told[0] if told else ""

    def events(self, session: int | None = None, *, after: int = 0) -> list[EventRow]:
        """Of one session, or of all the file; with a higher number than ``after``."""
        which = "session = ?" if session is not None else "? IS NULL"
        return self._look(
            f"SELECT id, wall_s, mono_s, run, code, text, data FROM event"
            f" WHERE {which} AND id > ? ORDER BY id",
            (session, after),
            lambda row: EventRow._make((*row[:6], block(row[6]))),
        )

    def progress(self, session: int) -> list[ProgressRow]:
        return self._look(
            "SELECT wall_ms / 1000.0, mono_ms / 1000.0, run, circuit, stage, charged_ah,"
            " charged_u_ah, charged_wh, is_whole, zero_a, at_rest_v, resistance_ohm"
            " FROM progress WHERE session = ? ORDER BY run, mono_ms",
            (session,),
            lambda row: ProgressRow._make((*row[:8], bool(row[8]), *row[9:])),
        )

    def temperatures(self, session: int) -> list[TemperatureRow]:
        return self._look(
            "SELECT wall_ms / 1000.0, mono_ms / 1000.0, run, probe, celsius"
            " FROM temperature WHERE session = ? ORDER BY run, mono_ms",
            (session,),
            TemperatureRow._make,
        )


def _kept(span_ms: int) -> int:
    """The span of the rows on disk that these are made of."""
    return SECOND_MS if span_ms == TEN_SECONDS_MS else span_ms


def _in_order(span_ms: int, where: str) -> str:
    """SQL: samples of a session, in the order of time."""
    kept = f"WHERE session = ? AND span_ms = {_kept(span_ms)} AND {where}"
    if span_ms == TEN_SECONDS_MS:
        group = f"run, CAST(mono_ms / {TEN_SECONDS_MS} AS INTEGER)"
        return f"{FOLDED} {kept} GROUP BY {group} ORDER BY run, 2"
    return f"{SAMPLES} {kept} ORDER BY run, mono_ms"


def _sample(row: Sequence[Any]) -> Sample:
    wall_ms, mono_ms, run, span_ms = row[:4]
    front_v, far_v, current_a = Span(*row[4:7]), Span(*row[7:10]), Span(*row[10:13])
    return Sample(
        wall_ms / 1000, mono_ms / 1000, run, span_ms / 1000, front_v, far_v, current_a, *row[13:]
    )
