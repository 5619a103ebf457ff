"""When the contactor was closed, and in which stage the charge was: from the events."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import zip_longest
from typing import NamedTuple

from supervisor.report.record import Event, Record

CLOSES = {"closed", "resumed"}
OPENS = {"opened", "paused", "finished", "trip", "ended"}


class Spell(NamedTuple):
    from_s: float
    to_s: float

    @property
    def length_s(self) -> float:
        return self.to_s - self.from_s


class StageSpell(NamedTuple):
    stage: str
    from_s: float
    to_s: float


def closed_spells(record: Record) -> list[Spell]:
    """A run that ends without a word opens the circuit when it is last heard of."""
    ends_s = {stretch.run: stretch.ends_s for stretch in record.timeline.stretches}
    spells: list[Spell] = []
    since: Event | None = None
    for event in record.events:
        if since is not None and event.run != since.run:
            spells.append(Spell(since.at_s, ends_s[since.run]))
            since = None
        if event.code in CLOSES and since is None:
            since = event
        elif event.code in OPENS:
            if since is not None:
                spells.append(Spell(since.at_s, event.at_s))
            elif not spells and _was_closed(event, record):
                spells.append(Spell(0.0, event.at_s))  # the event of its closing was lost
            since = None
    if since is not None:
        spells.append(Spell(since.at_s, ends_s[since.run]))
    return spells


def _was_closed(event: Event, record: Record) -> bool:
    first = record.progress[0].row.circuit if record.progress else ""
    return first == "closed" and event.data.get("was_closed", True)


def stage_spells(record: Record) -> list[StageSpell]:
    changes = [event for event in record.events if event.code == "stage"]
    ends_s = {stretch.run: stretch.ends_s for stretch in record.timeline.stretches}
    return list(_stages(changes, ends_s))


def _stages(changes: Sequence[Event], ends_s: dict[int, float]) -> Iterator[StageSpell]:
    for event, after in zip_longest(changes, changes[1:]):
        to_s = after.at_s if after and after.run == event.run else ends_s[event.run]
        stage = str(event.data.get("stage", "none"))
        if stage != "none":
            yield StageSpell(stage, event.at_s, to_s)


def overlap_s(spells: Iterable[Spell], stages: Iterable[StageSpell], stage: str) -> float:
    """Time in a stage with the contactor closed."""
    mine = [s for s in stages if s.stage == stage]
    return sum(
        max(0.0, min(a.to_s, b.to_s) - max(a.from_s, b.from_s)) for a in spells for b in mine
    )
