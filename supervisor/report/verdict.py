"""Full or not, and why: what a buyer of the battery wants to know first."""

from dataclasses import dataclass

from supervisor.journal.codes import CLOSES, FOUND_AT_START, OPENS
from supervisor.report.figures import Figures
from supervisor.report.record import Event, Record
from supervisor.report.sound import text
from supervisor.report.words import minute, plain

NO_WORD = "ended without a word"
UNDER_WAY = CLOSES | {"paused"}
ENDS = OPENS | {FOUND_AT_START}


@dataclass(frozen=True, slots=True)
class Verdict:
    """``rest`` is None where a rest is out of the question: it never was full."""

    is_full: bool
    word: str
    why: str
    rest: str | None


def judge(record: Record, figures: Figures) -> Verdict:
    """By what happened last."""
    last = _last(record)
    if last is None:
        return Verdict(False, "NOT KNOWN", "the record has no event that says how it ended", None)
    at = f"minute {minute(last.at_s)}"
    match last.code:
        case "finished":
            why = last.text.removeprefix("full: ")
            rest = _rest(figures, last)
            word = "FULL, BUT THE REST CHECK FAILED" if rest.startswith("failed") else "FULL"
            return Verdict(True, word, f"{why}{_how_it_ended(figures, at)}", rest)
        case "trip":
            failed = last.data.get("rule") == "failed_to_open"
            word, how = (
                ("NOT KNOWN", "it did not open") if failed else ("NOT FULL", "ended by a trip")
            )
            return Verdict(False, word, f"{how}: {_trip_words(last)} ({at})", None)
        case _ if last.is_unseen_end:
            how = "" if NO_WORD in last.text else f"{NO_WORD}: "
            return Verdict(False, "NOT FULL", f"{how}{last.text}", None)
        case "closed" | "resumed":
            return _unended(record, at)
        case _:
            why = f"{last.text} ({at})"
            if last.is_found_locked:
                why = f"found locked out at a start ({at}): {last.text}"
            return Verdict(False, "NOT FULL", why, None)


def _how_it_ended(figures: Figures, at: str) -> str:
    """A pulsed hold is declared full while it is open: by an average, which is told."""
    if figures.pulse_mean is None:
        return f" (opened by itself, {at})"
    opened = minute(figures.pulse_mean.pulse.to_s)
    return (
        f": {figures.pulse_mean.words} (opened for the last time at minute {opened}, declared full"
        f" at {at})"
    )


def _trip_words(trip: Event) -> str:
    rule = text(trip.data.get("rule"))
    return f"{plain(rule)}: {trip.text.removeprefix(f'{rule}: ')}" if rule else trip.text


def _last(record: Record) -> Event | None:
    """The newest closing or how it ended; what happens to an open circuit ends nothing."""
    last: Event | None = None
    for event in record.events:
        is_under_way = last is None or last.code in UNDER_WAY
        failed = event.code == "trip" and event.data.get("rule") == "failed_to_open"
        if event.code in CLOSES or failed or (event.code in ENDS and is_under_way):
            last = event
    return last


def _unended(record: Record, at: str) -> Verdict:
    why = (
        f"closed at {at}; the record ends at minute {minute(record.timeline.ends_s)}, and what "
        "came after it is not in here"
    )
    if record.session.ended_wall_s is not None:
        why = f"no event says how the closing at {at} ended"
    return Verdict(False, "NOT FULL", why, None)


def _rest(figures: Figures, finished: Event) -> str:
    rest = figures.rest
    if rest is None or rest.at_s < finished.at_s:
        return "not ended: nothing can be said of it yet"
    return rest.text.removeprefix("rest check ")
