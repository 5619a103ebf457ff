"""Full or not, and why: what a buyer of the battery wants to know first."""

from dataclasses import dataclass

from supervisor.journal.codes import CLOSES
from supervisor.report.ending import has_failed_to_open, is_under_way, last_turn
from supervisor.report.figures import Figures
from supervisor.report.rating import beside_full
from supervisor.report.record import Event, Record
from supervisor.report.sound import text
from supervisor.report.words import minute, plain

NO_WORD = "ended without a word"
NOT_YET = "NOT FULL YET"
STILL_UNDER_WAY = "still under way when this report was made"


@dataclass(frozen=True, slots=True)
class Verdict:
    """``rest`` is None where a rest is out of the question: it never was full. ``beside``: what a
    full bank does not tell by itself, as a sentence."""

    is_full: bool
    word: str
    why: str
    rest: str | None
    beside: str = ""


def judge(record: Record, figures: Figures) -> Verdict:
    """By what happened last."""
    last = last_turn(record)
    if last is None:
        return Verdict(False, "NOT KNOWN", "the record has no event that says how it ended", None)
    at = f"minute {minute(last.at_s)}"
    match last.code:
        case "finished":
            why = last.text.removeprefix("full: ")
            rest = _rest(figures, last)
            word = "FULL, BUT THE REST CHECK FAILED" if rest.startswith("failed") else "FULL"
            why += _how_it_ended(figures, at)
            return Verdict(True, word, why, rest, beside_full(record, figures, last.at_s))
        case "trip":
            failed = has_failed_to_open(last)
            word, how = (
                ("NOT KNOWN", "it did not open") if failed else ("NOT FULL", "ended by a trip")
            )
            return Verdict(False, word, f"{how}: {_trip_words(last)} ({at})", None)
        case _ if last.is_unseen_end:
            how = "" if NO_WORD in last.text else f"{NO_WORD}: "
            return Verdict(False, "NOT FULL", f"{how}{last.text}", None)
        case _ if last.code in CLOSES or is_under_way(record):
            return _unended(record, last, at)
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


def _unended(record: Record, last: Event, at: str) -> Verdict:
    if not is_under_way(record):
        return Verdict(False, "NOT FULL", f"no event says how the closing at {at} ended", None)
    what = "closed" if last.code in CLOSES else last.text
    why = (
        f"{STILL_UNDER_WAY}: {what} ({at}); the record goes to minute"
        f" {minute(record.timeline.ends_s)}. Had its run been killed since, only the next start"
        " would tell"
    )
    return Verdict(False, NOT_YET, why, None)


def _rest(figures: Figures, finished: Event) -> str:
    rest = figures.rest
    if rest is None or rest.at_s < finished.at_s:
        return "not ended: nothing can be said of it yet"
    return rest.text.removeprefix("rest check ")
