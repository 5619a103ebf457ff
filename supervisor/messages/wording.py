"""What is said of each thing that somebody has to know."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

from supervisor.guidance.words import span
from supervisor.journal.sound import LARGEST
from supervisor.messages.message import Draft, Place, Weight
from supervisor.protection.trip_names import trip_name
from supervisor.protection.wording import amount, beside
from supervisor.snapshot import CueView, LockoutView

CONFIRMED = "confirmed"
CUT_BY_HAND = "cut the mains by hand first of all"
LOOK = "look at the bank, find out why, then reset with a reason"


@dataclass(frozen=True, slots=True)
class Trip:
    """A lockout, from the journal or from the status. ``outcome`` of its opening, "": not known."""

    rule: str
    reason: str
    remedy: str
    measured: float | None = None
    limit: float | None = None
    unit: str = ""
    outcome: str = ""
    opened_in_s: float | None = None
    was_closed: bool = True
    by_doubt: bool = False

    @classmethod
    def from_event(cls, text: str, data: Mapping[str, Any], opening: Mapping[str, Any]) -> "Trip":
        rule = _text(data.get("rule"))
        return cls(
            rule,
            text.removeprefix(f"{rule}: "),
            _text(data.get("remedy")),
            _figure(data.get("measured")),
            _figure(data.get("limit")),
            _text(data.get("unit")),
            _text(opening.get("outcome")),
            _figure(opening.get("opened_in_s")),
            was_closed=bool(data.get("was_closed", True)),
            by_doubt=bool(data.get("by_doubt")),
        )

    @classmethod
    def from_status(cls, view: LockoutView) -> "Trip":
        outcome = "failed" if view.failed_to_open else CONFIRMED if view.opened_in_s else ""
        return cls(
            view.tripped_by, view.reason, view.remedy, _figure(view.measured), _figure(view.limit),
            view.unit, outcome, _figure(view.opened_in_s),
        )  # fmt: skip

    @property
    def did_not_open(self) -> bool:
        return self.rule == "failed_to_open" or self.outcome not in ("", CONFIRMED)

    @property
    def against(self) -> str:
        """Empty where no figure passed a limit: in doubt, or a count of lost time."""
        if self.measured is None or self.limit is None or not self.unit or self.by_doubt:
            return ""
        if self.unit == "s" and self.measured <= self.limit:
            return ""
        measured = beside(self.measured, self.limit, self.unit)
        return f"measured {measured}, limit {amount(self.limit, self.unit)}"

    @property
    def did(self) -> str:
        if self.did_not_open:
            return "coil off, locked out; the mains side was told to open, if one is fitted"
        if not self.was_closed:
            return "locked out; the coil was off already"
        if self.opened_in_s is not None:
            return f"coil off, seen to open in {self.opened_in_s * 1000:.0f} ms, locked out"
        return "coil off, locked out; not known yet whether it opened"


def trip(trip: Trip, place: Place, wall_s: float) -> Draft:
    rule = trip_name(trip.rule).replace("_", " ")
    is_worst = trip.did_not_open
    worst = "FAILED TO OPEN" if trip.rule == "failed_to_open" else f"DID NOT OPEN after trip {rule}"
    remedy = trip.remedy or LOOK
    return Draft(
        "trips",
        Weight.FAILED_TO_OPEN if is_worst else Weight.TRIP,
        worst if is_worst else f"TRIP {rule}",
        place,
        wall_s,
        measured=trip.against,
        told=trip.reason,
        did=trip.did,
        check=f"{CUT_BY_HAND}; {remedy}" if is_worst else remedy,
    )


def did_not_open(place: Place, wall_s: float, outcome: str) -> Draft:
    """Known only after the trip was told, or there was none."""
    return Draft(
        "trips",
        Weight.FAILED_TO_OPEN,
        "DID NOT OPEN" if outcome == "failed" else "NOT SEEN TO OPEN",
        place,
        wall_s,
        told="the coil is off, and neither current nor auxiliary contact says that it opened",
        did="the mains side was told to open, if one is fitted",
        check=f"{CUT_BY_HAND}; then look at the contactor",
    )


def found_locked(
    reason: str, remedy: str, place: Place, wall_s: float, last_sign_wall_s: float | None
) -> Draft:
    """``last_sign_wall_s``: of the run before, where that ended unseen."""
    return Draft(
        "trips",
        Weight.TRIP,
        "LOCKED OUT at start",
        place,
        wall_s,
        told=reason,
        did="started open, and stays open until somebody resets it",
        check=remedy or LOOK,
        last_sign_wall_s=last_sign_wall_s,
    )


def reset(text: str, place: Place, wall_s: float) -> Draft:
    return Draft("trips", Weight.NOTE, "lockout reset", place, wall_s, told=text)


def finished(text: str, place: Place, wall_s: float) -> Draft:
    return Draft(
        "finished",
        Weight.NOTE,
        "FULL",
        place,
        wall_s,
        told=text,
        did="opened; does not close again by itself",
        check="knob to zero, supply off",
    )


def closed(text: str, place: Place, wall_s: float) -> Draft:
    return Draft("started", Weight.NOTE, "closed", place, wall_s, told=text)


def opened(text: str, place: Place, wall_s: float) -> Draft:
    return Draft("started", Weight.NOTE, "opened", place, wall_s, told=text)


def trouble(text: str, place: Place, wall_s: float) -> Draft:
    return Draft(
        "record",
        Weight.NOTE,
        "RECORD TROUBLE",
        place,
        wall_s,
        told=text,
        did="the protection goes on",
        check="disk and memory card, before the next charge",
    )


def deaf(text: str, place: Place, wall_s: float) -> Draft:
    return Draft(
        "record",
        Weight.ALARM,
        "REQUESTS NOT HEARD",
        place,
        wall_s,
        told=text,
        did="the protection goes on; what is closed stays closed",
        check="the stop button opens it; then start the program again",
    )


def ignored(cue: CueView, for_s: float, circuit: str, place: Place, wall_s: float) -> Draft:
    return Draft(
        "cues",
        Weight.ALARM,
        f"CUE IGNORED for {span(for_s)}",
        place,
        wall_s,
        told=f"{cue.text} {cue.reason}",
        did=f"nothing: the circuit is {circuit}, and opens at its limits",
        check="go to the knob, or open it: holdwatch open",
    )


class After(Enum):
    """What was known last before nothing was known any more: what is to be thought of the circuit,
    and what to do."""

    NOTHING = (
        "nothing is known of the circuit: it may be closed",
        "look at the contactor; cut the mains by hand if in doubt; then the daemon's log",
    )
    END = (
        "it ended in good order, the circuit open: nobody watches now",
        "start it again before anything is closed",
    )
    END_UNSEEN_OPEN = (
        "it noted that it ended with the circuit open; nobody saw it open",
        "look at the contactor; cut the mains by hand if in doubt",
    )


def blind(
    problem: str, for_s: float, place: Place, wall_s: float, *, is_all: bool, after: After
) -> Draft:
    """``is_all``: there were no data at all, not even now and then."""
    did, check = after.value
    what = f"BLIND, {'no' if is_all else 'hardly any'} data for {span(for_s)}"
    return Draft("blind", Weight.ALARM, what, place, wall_s, told=problem, did=did, check=check)


def sees_again(since: str, circuit: str, place: Place, wall_s: float) -> Draft:
    told = f"no data, or hardly any, from {since} on; now the circuit is {circuit}"
    return Draft("blind", Weight.ALARM, "sees again", place, wall_s, told=told)


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _figure(value: object) -> float | None:
    """What can have been measured; an odd figure of a damaged file is none."""
    if not isinstance(value, int | float) or isinstance(value, bool):
        return None
    return float(value) if abs(value) <= LARGEST else None
