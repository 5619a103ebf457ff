"""The story of every trip, of every run that ended without a word, and of lockouts found."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from supervisor.journal.codes import FOUND_AT_START, TRIPS, UNSEEN_END
from supervisor.protection.trip_names import trip_name
from supervisor.protection.wording import amount, beside
from supervisor.report.record import Event
from supervisor.report.sound import finite, text
from supervisor.report.timeline import Timeline
from supervisor.report.words import UNKNOWN, duration, minute, plain, utc
from supervisor.sizing.explain import EXPLANATIONS

# How doubt is said where the record has no flag for it.
DOUBTS = ("could not tell for", "no cycle with good readings for")


@dataclass(frozen=True, slots=True)
class Found:
    """An end that nobody saw: last sign of life, and the next start; both minutes and dates."""

    from_s: float
    to_s: float
    from_wall_s: float
    to_wall_s: float
    is_dated: bool

    @property
    def words(self) -> str:
        between = (
            f"between minute {minute(self.from_s, 2)} ({utc(self.from_wall_s)} UTC, the last sign"
            f" of life that was kept) and {utc(self.to_wall_s)} UTC, the next start"
        )
        if not self.is_dated:
            return f"{between}; how long that was, the clock cannot tell"
        return f"{between}, {duration(self.to_s - self.from_s)} later"


@dataclass(frozen=True, slots=True)
class Trip:
    """``is_unseen_end``: the process or the power ended while closed; what was measured last
    was not kept.

    ``is_found_locked``: of a run that ended with words; its trip came into no record.
    ``is_doubt``: no limit was seen to be passed; nobody could tell for too long.
    """

    number: int
    at_s: float
    wall_s: float
    rule: str
    reason: str
    measured: float | None
    limit: float | None
    unit: str
    remedy: str
    was_closed: bool
    opening: str
    opened_in_s: float | None
    reset: Event | None
    is_unseen_end: bool
    is_found_locked: bool = False
    is_doubt: bool = False
    found: Found | None = None

    @property
    def was_seen(self) -> bool:
        """Not when it is known only by the start that found it."""
        return not (self.is_unseen_end or self.is_found_locked)

    @property
    def title(self) -> str:
        if self.is_unseen_end:
            return "ended without a word"
        if self.is_found_locked:
            return "found locked out at a start"
        if self.is_doubt:
            return f"nothing was known ({plain(self.rule)} could not tell)"
        return plain(trip_name(self.rule))

    @property
    def protects(self) -> str:
        """What the rule is there for; empty of an unknown one."""
        told = EXPLANATIONS.get(self.rule)
        return f"{plain(trip_name(self.rule))}. It protects: {told.protects}" if told else ""

    @property
    def function(self) -> str:
        """Its number in IEEE C37.2; empty where there is none."""
        told = EXPLANATIONS.get(self.rule)
        return f"IEEE C37.2: function {told.function}" if told and told.function else ""

    @property
    def when(self) -> str:
        return self.found.words if self.found else f"{utc(self.wall_s)} UTC"

    @property
    def against(self) -> str:
        """What was measured against its limit; empty where it has no such figures, or where they
        are not what tripped it."""
        if self.measured is None or self.limit is None or not self.unit or self.is_doubt:
            return ""
        if self.unit == "s" and self.measured <= self.limit:
            return ""  # a count tripped, or time lost again and again
        measured = beside(self.measured, self.limit, self.unit)
        return f"{measured} against {amount(self.limit, self.unit)}"

    @property
    def how_opened(self) -> str:
        if self.is_found_locked:
            return UNKNOWN
        if not self.was_closed:
            return "was open already"
        if self.opened_in_s is not None:
            return f"{self.opening} in {self.opened_in_s * 1000:.0f} ms"
        return self.opening or "not recorded"

    @property
    def how_reset(self) -> str:
        if self.reset is None:
            return "not reset within this session"
        who, why = self.reset.data.get("who", "?"), self.reset.data.get("reason", "?")
        return f"by {who} at minute {minute(self.reset.at_s)}: {why}"


def titles(trips: Iterable[Trip]) -> str:
    """In the order of the first of each: 2 × overvoltage, welded."""
    counts = Counter(trip.title for trip in trips)
    return ", ".join(f"{n} × {title}" if n > 1 else title for title, n in counts.items())


def find_trips(events: Sequence[Event], timeline: Timeline | None = None) -> list[Trip]:
    """``timeline`` tells of an end that nobody saw between what it was."""
    return list(_told(events, timeline))


def _told(events: Sequence[Event], timeline: Timeline | None) -> Iterator[Trip]:
    number, is_locked = 0, False
    for place, event in enumerate(events):
        if event.code == "reset":
            is_locked = False
        # A restart finds the lockout of a trip again: no story of its own.
        if event.code in TRIPS or (event.code == FOUND_AT_START and not is_locked):
            number, is_locked = number + 1, True
            yield _story(number, event, events[place + 1 :], timeline)


def _story(number: int, event: Event, later: Sequence[Event], timeline: Timeline | None) -> Trip:
    until_next = list(_until_next_trip(later))
    opening = next((e for e in until_next if e.code == "opening"), None)
    data = event.data
    rule = text(data.get("rule"))
    reason = event.text.removeprefix(f"{rule}: ")
    found = _found(event, timeline) if event.is_unseen_end and timeline else None
    return Trip(
        number,
        found.from_s if found else event.at_s,
        found.from_wall_s if found else event.wall_s,
        rule,
        reason=reason,
        measured=finite(data.get("measured")),
        limit=finite(data.get("limit")),
        unit=text(data.get("unit")),
        remedy=text(data.get("remedy")),
        was_closed=bool(data.get("was_closed", True)),
        opening=text(opening.data.get("outcome")) if opening else "",
        opened_in_s=finite(opening.data.get("opened_in_s")) if opening else None,
        reset=next((e for e in later if e.code == "reset"), None),
        is_unseen_end=event.is_unseen_end,
        is_found_locked=event.is_found_locked,
        is_doubt=bool(data.get("by_doubt", reason.startswith(DOUBTS))),
        found=found,
    )


def _found(event: Event, timeline: Timeline) -> Found | None:
    """Between the run that ended and the one that found it; None where one of them is missing."""
    runs = [stretch.run for stretch in timeline.stretches]
    if event.run not in runs:
        return None
    last = runs.index(event.run) - (event.code != UNSEEN_END)
    if not 0 <= last < len(runs) - 1:
        return None
    ended, began = timeline.stretches[last], timeline.stretches[last + 1]
    return Found(
        ended.ends_s, began.begins_s, ended.last.wall_s, began.first.wall_s,
        is_dated=not began.is_after_break,
    )  # fmt: skip


def _until_next_trip(later: Sequence[Event]) -> Iterator[Event]:
    for event in later:
        if event.code in TRIPS or event.code == "closed":
            return
        yield event
