"""From the journal's events to what has to be told. Pure: no file, no clock of its own.

An event that is read twice tells the same twice: what was read is remembered by ``tail``.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import islice

from supervisor.journal.codes import FOUND_AT_START
from supervisor.messages import wording
from supervisor.messages.lockouts import Lockouts
from supervisor.messages.message import Draft
from supervisor.messages.tail import Found

OPENING_WITHIN_S = 5.0  # of a trip, at the latest, it is known whether it opened
SAME_TROUBLE_WITHIN_S = 3600.0  # of the record: told once


@dataclass
class StoryKept:
    """``troubles``: by code, when it was told last."""

    lockouts: Lockouts = field(default_factory=Lockouts)
    newest_code: str = ""
    troubles: dict[str, float] = field(default_factory=dict)

    @property
    def has_ended(self) -> bool:
        """The newest run has said that it ended."""
        return self.newest_code == "ended"


class Story:
    """``kept`` is changed as events are told."""

    def __init__(self, kept: StoryKept) -> None:
        self._kept = kept
        self._waits: tuple[Found, float] | None = None  # a trip, and since when

    def replay(self, events: Sequence[Found]) -> None:
        """What was before anybody asked to be told: known, and not told."""
        for place in range(len(events)):
            self._draft(events, place)

    def take(self, events: Sequence[Found], now_s: float) -> list[tuple[Found, list[Draft]]]:
        """What each has to tell, in order; from a trip on that waits for its opening, nothing."""
        told = []
        for place, found in enumerate(events):
            if self._must_wait(events, place, now_s):
                break
            told.append((found, self._draft(events, place)))
        return told

    def _must_wait(self, events: Sequence[Found], place: int, now_s: float) -> bool:
        """The same message can say then whether it opened, in most cases."""
        found = events[place]
        if found.event.code != "trip" or _opening(events, place) is not None:
            return False
        if not found.event.data.get("was_closed", True):
            return False
        if self._waits is None or self._waits[0] != found:
            self._waits = (found, now_s)
        return now_s - self._waits[1] < OPENING_WITHIN_S

    def _draft(self, events: Sequence[Found], place: int) -> list[Draft]:
        found = events[place]
        self._kept.newest_code = found.event.code
        if found.event.code == "trip":
            draft = self._trip(found, _opening(events, place))
        else:
            tell = self._tellers().get(found.event.code)
            draft = tell(found) if tell else None
        return [draft] if draft else []

    def _tellers(self) -> dict[str, Callable[[Found], Draft | None]]:
        return {
            FOUND_AT_START: self._found_at_start,
            "opening": self._opening,
            "reset": self._reset,
            "closed": self._closed,
            "opened": lambda f: wording.opened(f.event.text, f.place, f.event.wall_s),
            "finished": lambda f: wording.finished(f.event.text, f.place, f.event.wall_s),
            "latch_not_written": self._trouble,
            "journal_lost": self._trouble,
            "journal_set_aside": self._trouble,
        }

    def _trip(self, found: Found, opening: Found | None) -> Draft | None:
        event, lockouts = found.event, self._kept.lockouts
        trip = wording.Trip.from_event(
            event.text, event.data, opening.event.data if opening else {}
        )
        if lockouts.is_told(trip.reason, event.wall_s):
            return None
        lockouts.tell(trip.reason, event.wall_s, not_open=trip.did_not_open)
        return wording.trip(trip, found.place, event.wall_s)

    def _found_at_start(self, found: Found) -> Draft | None:
        event, lockouts = found.event, self._kept.lockouts
        if lockouts.stands(event.text, event.wall_s):
            return None
        lockouts.tell(event.text, event.wall_s, not_open=False)
        remedy = str(event.data.get("remedy", ""))
        return wording.found_locked(event.text, remedy, found.place, event.wall_s)

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


def _opening(events: Sequence[Found], place: int) -> Found | None:
    """How the opening of the trip at this place went."""
    trip = events[place]
    for found in islice(events, place + 1, None):
        if found.run_key != trip.run_key or found.event.code in ("trip", "closed", "reset"):
            return None
        if found.event.code == "opening":
            return found
    return None
