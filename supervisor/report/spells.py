"""When the contactor was closed, and in which stage the charge was: from the events."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise, zip_longest
from typing import NamedTuple

from supervisor.journal.codes import CLOSES, OPENS, UNSEEN_END
from supervisor.report.record import Event, Record


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


class Unseen(NamedTuple):
    """From the last sign of life of a run that ended while closed to the first of the next one.

    ``is_dated``: the wall clock tells how long that was; else it is a break of the axis.
    """

    from_s: float
    to_s: float
    is_dated: bool

    @property
    def length_s(self) -> float | None:
        return self.to_s - self.from_s if self.is_dated else None


def closed_spells(record: Record) -> list[Spell]:
    """A run that ends without a word opens the circuit when it is last heard of."""
    return [spell for spell, _ in _closings(record)]


def unseen_ends(record: Record) -> list[Unseen]:
    """Where nobody knows whether current flowed; of a run that none has followed, nothing."""
    stretches = record.timeline.stretches
    found_open = {event.run for event in record.events if event.is_found_locked}
    after = {one.run: other for one, other in pairwise(stretches) if other.run not in found_open}
    return [
        Unseen(spell.to_s, after[run].begins_s, not after[run].is_after_break)
        for spell, run in _closings(record)
        if run in after
    ]


def _closings(record: Record) -> Iterator[tuple[Spell, int | None]]:
    """Each with the run that ended within it, if one did."""
    ends_s = {stretch.run: stretch.ends_s for stretch in record.timeline.stretches}
    since: Event | None = None
    is_first = True
    for event in record.events:
        if since is not None and event.run != since.run:
            yield Spell(since.at_s, ends_s[since.run]), since.run
            since = None
        if event.code in CLOSES and since is None:
            since, is_first = event, False
        elif event.code in OPENS:
            if since is not None:
                is_unseen = event.code == UNSEEN_END
                yield Spell(since.at_s, event.at_s), since.run if is_unseen else None
            elif is_first and _was_closed(event, record):
                yield Spell(0.0, event.at_s), None  # the event of its closing was lost
                is_first = False
            since = None
    if since is not None:
        yield Spell(since.at_s, ends_s[since.run]), since.run


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
