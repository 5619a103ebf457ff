"""Numbers for the events that a plot shows and the list beside it explains."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from supervisor.journal.codes import (
    CLOSES,
    FOUND_AT_START,
    OPENS,
    SESSION_BEGUN_ANEW,
    SESSION_GOES_ON,
    SESSION_LEFT,
    is_unseen_end,
)
from supervisor.report.record import Event

MARKED = (
    CLOSES
    | OPENS
    | {"reset", "rest", "profile", FOUND_AT_START, "journal_lost", "journal_set_aside"}
    | {SESSION_LEFT, SESSION_GOES_ON, SESSION_BEGUN_ANEW}
)


@dataclass(frozen=True, slots=True)
class Mark:
    """``words``: what the list says of it; a lockout that tells again why a run ended points
    there."""

    number: int
    event: Event
    words: str


@dataclass(frozen=True, slots=True)
class Label:
    """Where a number stands in a plot; several that are too near stand together: 4–7."""

    at_s: float
    text: str


def marks_of(events: Iterable[Event]) -> list[Mark]:
    marks: list[Mark] = []
    for event in events:
        if event.code in MARKED:
            marks.append(Mark(len(marks) + 1, event, _words(event, marks)))
    return marks


def _words(event: Event, before: Sequence[Mark]) -> str:
    if is_unseen_end(event.code):
        return f"last sign of life that was kept: {event.text}"
    if event.code != FOUND_AT_START:
        return event.text
    same = [m for m in before if is_unseen_end(m.event.code) and m.event.text == event.text]
    return (
        f"found at the next start: see No. {same[-1].number}"
        if same
        else (f"found at a start: {event.text}")
    )


def labels(marks: Sequence[Mark], nearest_s: float) -> list[Label]:
    """In the order of time, none nearer to the next than that."""
    groups: list[list[Mark]] = []
    for mark in marks:
        if groups and mark.event.at_s - groups[-1][0].event.at_s < nearest_s:
            groups[-1].append(mark)
        else:
            groups.append([mark])
    return [Label(group[0].event.at_s, _text(group)) for group in groups]


def _text(group: Sequence[Mark]) -> str:
    first, last = group[0].number, group[-1].number
    return str(first) if first == last else f"{first}–{last}"
