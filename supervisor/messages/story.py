"""From the journal's events to what has to be told. Pure: no file, no clock of its own.

An event that is read twice tells the same twice: what was read is remembered by ``tail``.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import islice

from supervisor.journal.codes import FOUND_AT_START, UNSEEN_END, is_unseen_end
from supervisor.messages import wording
from supervisor.messages.lockouts import Lockouts
from supervisor.messages.message import Draft
from supervisor.messages.tail import Found

# Of a trip it is known by then whether it opened; of an end that nobody saw, when it was.
REST_WITHIN_S = 5.0
SAME_TROUBLE_WITHIN_S = 3600.0  # of the record: told once


@dataclass
class End:
    """A run has said that it ended. ``beside_s``: of the status that was found then, when it was
    published; 0.0 where there was none, None before anybody looked."""

    beside_s: float | None = None


@dataclass
class StoryKept:
    """``end``: nothing was heard since. ``troubles``: by code, when it was told last."""

    lockouts: Lockouts = field(default_factory=Lockouts)
    end: End | None = None
    troubles: dict[str, float] = field(default_factory=dict)


class Story:
    """``kept`` is changed as events are told."""

    def __init__(self, kept: StoryKept) -> None:
        self._kept = kept
        self._waits: tuple[Found, float] | None = None  # for the rest of it, and since when

    def replay(self, events: Sequence[Found]) -> None:
        """What was before anybody asked to be told: known, and not told."""
        for place in range(len(events)):
            self._draft(events, place)

    def take(self, events: Sequence[Found], now_s: float) -> list[tuple[Found, list[Draft]]]:
        """What each has to tell, in order; from one on that waits for the rest of it, nothing."""
        told = []
        for place, found in enumerate(events):
            if self._must_wait(events, place, now_s):
                break
            told.append((found, self._draft(events, place)))
        return told

    def _must_wait(self, events: Sequence[Found], place: int, now_s: float) -> bool:
        """The same message can say it all then, in most cases."""
        found = events[place]
        if not _has_rest(found) or _rest(events, place) is not None:
            return False
        if self._waits is None or self._waits[0] != found:
            self._waits = (found, now_s)
        return now_s - self._waits[1] < REST_WITHIN_S

    def _draft(self, events: Sequence[Found], place: int) -> list[Draft]:
        found = events[place]
        self._kept.end = End() if found.event.code == "ended" else None
        match found.event.code:
            case "trip":
                draft = self._trip(found, _rest(events, place))
            case code if code == FOUND_AT_START:
                draft = self._found_locked(found, _rest(events, place))
            case code if is_unseen_end(code):
                draft = self._found_locked(found, found)
            case code:
                tell = self._tellers().get(code)
                draft = tell(found) if tell else None
        return [draft] if draft else []

    def _tellers(self) -> dict[str, Callable[[Found], Draft | None]]:
        return {
            "opening": self._opening,
            "reset": self._reset,
            "closed": self._closed,
            "opened": lambda f: wording.opened(f.event.text, f.place, f.event.wall_s),
            "finished": lambda f: wording.finished(f.event.text, f.place, f.event.wall_s),
            "deaf": lambda f: wording.deaf(f.event.text, f.place, f.event.wall_s),
            "latch_not_written": self._trouble,
            "journal_lost": self._trouble,
            "journal_set_aside": self._trouble,
        }

    def _trip(self, found: Found, opening: Found | None) -> Draft | None:
        event, lockouts = found.event, self._kept.lockouts
        trip = wording.Trip.from_event(
            event.text, event.data, opening.event.data if opening else {}
        )
        if lockouts.find(trip.reason, event.wall_s, event.mono_s):
            return None
        lockouts.tell(trip.reason, event.wall_s, not_open=trip.did_not_open)
        return wording.trip(trip, found.place, event.wall_s)

    def _found_locked(self, found: Found, unseen_end: Found | None) -> Draft | None:
        """``unseen_end`` is dated to when the run before was last heard of."""
        event, lockouts = found.event, self._kept.lockouts
        found_wall_s = _wall_s(event.data.get("found_wall_s"), event.wall_s)
        if lockouts.stands(event.text, found_wall_s):
            return None
        lockouts.tell(event.text, found_wall_s, not_open=False)
        return wording.found_locked(
            event.text,
            str(event.data.get("remedy", "")),
            found.place,
            found_wall_s,
            unseen_end.event.wall_s if unseen_end else None,
        )

    def _opening(self, found: Found) -> Draft | None:
        outcome, lockouts = str(found.event.data.get("outcome", "")), self._kept.lockouts
        if outcome in ("", wording.CONFIRMED) or lockouts.not_open:
            return None
        lockouts.not_open = True
        return wording.did_not_open(found.place, found.event.wall_s, outcome)

    def _reset(self, found: Found) -> Draft:
        self._kept.lockouts.reset()
        return wording.reset(found.event.text, found.place, found.event.wall_s)

    def _closed(self, found: Found) -> Draft:
        self._kept.lockouts.reset()  # there is none, or it could not be closed
        return wording.closed(found.event.text, found.place, found.event.wall_s)

    def _trouble(self, found: Found) -> Draft | None:
        event, told = found.event, self._kept.troubles
        if abs(event.wall_s - told.get(event.code, float("-inf"))) < SAME_TROUBLE_WITHIN_S:
            return None
        told[event.code] = event.wall_s
        return wording.trouble(event.text, found.place, event.wall_s)


def _has_rest(found: Found) -> bool:
    """Another event says what this one cannot know yet."""
    event = found.event
    if event.code == "trip":
        return bool(event.data.get("was_closed", True))
    return event.code == FOUND_AT_START and bool(event.data.get("ended_unseen"))


def _rest(events: Sequence[Found], place: int) -> Found | None:
    """How the opening of a trip went; or the end that a lockout found at a start is of."""
    first = events[place]
    is_trip = first.event.code == "trip"
    wanted = "opening" if is_trip else UNSEEN_END
    for found in islice(events, place + 1, None):
        if found.event.code == wanted:
            return found if not is_trip or found.run_key == first.run_key else None
        if found.run_key != first.run_key or found.event.code in ("trip", "closed", "reset"):
            return None
    return None


def _wall_s(value: object, otherwise_s: float) -> float:
    return float(value) if isinstance(value, int | float) else otherwise_s
