"""The journal's newest events, each once: over restarts, and over files that are replaced.

The number of an event is not enough. A file that is set aside is followed by one that counts from
1 again, and where the newest session is removed, numbers are given anew. So it is remembered which
event was read last, by its content, and of which run; runs are known again in another file by the
clocks at their start.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, NamedTuple

from pydantic import Field

from supervisor.journal.reader import EventRow, NoJournal, Reader
from supervisor.messages.message import Place

RUNS_REMEMBERED = 500
LARGEST_ID = 2**63 - 1  # of a row, by SQLite


class Found(NamedTuple):
    """An event, where it belongs, and the run it is of: ``run_key`` is the same in every file."""

    event: EventRow
    run_key: str
    place: Place


@dataclass
class Position:
    """What was read: the last event (``sign`` is its content), the runs up to there, and how far
    the newest of them (``mono_s``: of its own clock; ``wall_s`` for what has no such time)."""

    id: Annotated[int, Field(ge=0, le=LARGEST_ID)] = 0
    sign: str = ""
    runs: list[str] = field(default_factory=list)
    mono_s: float = 0.0
    wall_s: float = 0.0


class _Run(NamedTuple):
    key: str
    place: Place


def _runs(reader: Reader) -> dict[int, _Run]:
    return {
        run.id: _Run(f"{run.wall_s!r} {run.mono_s!r}", Place(run.bank, run.is_simulated))
        for run in reader.runs()
    }


class Tail:
    """Of one journal. ``position`` None: it was never read. ``problem``: why it cannot be read."""

    def __init__(self, path: Path, position: Position | None) -> None:
        self._path = path
        self.position = position
        self.problem = ""

    def read(self) -> list[Found]:
        """Those after the position. It stays where it is: see ``advance``."""
        try:
            with Reader(self._path) as reader:
                found = self._read(reader)
        except (NoJournal, OSError) as error:
            self.problem = str(error)
            return []
        self.problem = ""
        return found

    @property
    def is_missing(self) -> bool:
        """There is no file, as before the first start of the daemon."""
        try:
            return not self._path.exists()
        except OSError:
            return False

    def advance(self, found: Found) -> None:
        """This one, and all before it, are done."""
        before = self.position or Position()
        is_of_earlier_run = found.run_key in before.runs[:-1]  # found out later, and dated back
        runs = [*(key for key in before.runs if key != found.run_key), found.run_key]
        is_same_run = bool(before.runs) and before.runs[-1] == found.run_key
        mono_s = max(before.mono_s, found.event.mono_s) if is_same_run else found.event.mono_s
        self.position = Position(
            found.event.id,
            _sign(found.event),
            before.runs if is_of_earlier_run else runs[-RUNS_REMEMBERED:],
            before.mono_s if is_of_earlier_run else mono_s,
            before.wall_s if is_of_earlier_run else found.event.wall_s,
        )

    def _read(self, reader: Reader) -> list[Found]:
        last = self.position or Position()
        rows = reader.events(after=max(0, last.id - 1))
        if last.id and rows and _sign(rows[0]) == last.sign:
            return list(_found(rows[1:], _runs(reader))) if rows[1:] else []
        return list(self._anew(reader, last))

    def _anew(self, reader: Reader, last: Position) -> Iterator[Found]:
        """From another file, or one whose newest events are gone."""
        rows, runs = reader.events(), _runs(reader)  # in this order: each event's run is there
        newest = max((id_ for id_, run in runs.items() if run.key in last.runs), default=0)
        for found in _found(rows, runs):
            run = found.event.run
            if run > newest or (run == newest and _is_later(found, last)):
                yield found


def _is_later(found: Found, last: Position) -> bool:
    """Within a run of which something was read."""
    if not last.runs or found.run_key != last.runs[-1]:
        return False  # another was read after it
    if found.event.mono_s == 0:  # noted by the journal itself, which knows no such time
        return found.event.wall_s > last.wall_s
    return found.event.mono_s > last.mono_s


def _found(rows: Sequence[EventRow], runs: dict[int, _Run]) -> Iterator[Found]:
    for row in rows:
        if row.run in runs:  # else damaged: nobody knows of which bank it is
            yield Found(row, runs[row.run].key, runs[row.run].place)


def _sign(row: EventRow) -> str:
    return f"{row.wall_s!r} {row.mono_s!r} {row.code}"
