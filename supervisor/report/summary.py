"""The session in a few plain sentences, for those who read no further."""

from collections.abc import Iterator

from supervisor.journal.codes import TRIPS
from supervisor.report.ending import is_under_way
from supervisor.report.figures import Figures
from supervisor.report.rating import rating_words
from supervisor.report.record import Record
from supervisor.report.settings_told import at, dig
from supervisor.report.sound import block
from supervisor.report.temperatures import Extreme, Warmth
from supervisor.report.unknown_told import NOT_KEPT, gap_clause, gap_words
from supervisor.report.verdict import NOT_YET, Verdict
from supervisor.report.words import capital, duration, millivolts, minute, utc

MOST_TRIPS_NAMED = 4


def in_plain_words(record: Record, figures: Figures, verdict: Verdict) -> list[str]:
    """What was charged, full or not, how near to the limits, what tripped, what is not known."""
    return [
        _charged(record, figures),
        _full(verdict),
        _volts(figures),
        _celsius(record, figures),
        _trips(figures),
        *_unknown(record, figures),
        *_left_out(record),
    ]


def celsius_words(warmth: Warmth) -> str:
    """Highest, when, and its limit; the lowest as well where cold has a limit."""
    hot, cold = warmth.hottest, warmth.coldest
    words = f"{hot.celsius:.1f} °C at minute {minute(hot.at_s)}, {_limit(hot, 'ABOVE')}"
    if cold is not None:
        words += f"; lowest {cold.celsius:.1f} °C, {_limit(cold, 'BELOW')}"
    return words


def _limit(extreme: Extreme, beyond: str) -> str:
    limit_c = extreme.limit_c
    if limit_c is None:
        return "no limit was set"
    past_k = extreme.celsius - limit_c if beyond == "ABOVE" else limit_c - extreme.celsius
    return f"{beyond} its limit of {limit_c:.1f} °C" if past_k > 0 else f"limit {limit_c:.1f} °C"


def why_no_celsius(record: Record) -> str:
    fitted = block(at(record.session.settings, "probes"))
    return "no probe has answered" if fitted else "the settings name no probe"


def _charged(record: Record, figures: Figures) -> str:
    session = record.session
    cell_ah = dig(session.settings, "bank.cell_ampere_hours")
    cells = f"{session.cells} cell{'s' if session.cells != 1 else ''}"
    if cell_ah and (rated := rating_words(record)):
        cells += f" of {cell_ah:g} Ah, {rated} together"
    were = "are being" if is_under_way(record) else "were"
    day = utc(session.began_wall_s, "%-d %B %Y")
    return (
        f"{cells}, in parallel, {were} charged from {day} on. {_went_in(figures)} within"
        f" {duration(figures.closed_s)} with the contactor closed."
    )


def _went_in(figures: Figures) -> str:
    if figures.charge.ah.value is None:
        return "What went in is not known,"
    words = figures.charge.ah.words
    why = f" ({'; '.join(figures.charge.lacks)})" if figures.charge.lacks else ""
    return f"{capital(words)} went in{why}"


def _full(verdict: Verdict) -> str:
    if verdict.is_full:
        rest = f" Rest check {verdict.rest}." if verdict.rest else ""
        return f"The supervisor found the bank full: {verdict.why}. {verdict.beside}{rest}"
    if verdict.word == "NOT KNOWN":
        return f"Whether the bank is full is not known: {verdict.why}."
    if verdict.word == NOT_YET:
        return f"The bank is not full yet: {verdict.why}."
    return f"The bank was not found full: {verdict.why}."


def _volts(figures: Figures) -> str:
    if figures.peak is None:
        return "No cell voltage is known."
    highest = f"The highest voltage of a measured cell is {figures.peak.volts:.3f} V"
    if figures.margin_v is None or figures.never_above_v is None:
        return f"{highest}; the maker's limit is not known."
    side = "below" if figures.margin_v >= 0 else "ABOVE"
    return (
        f"{highest}, {millivolts(abs(figures.margin_v))} {side} the maker's limit of"
        f" {figures.never_above_v:.3f} V."
    )


def _celsius(record: Record, figures: Figures) -> str:
    if not figures.warmth:
        return f"No temperature is known: {why_no_celsius(record)}."
    nearest = figures.warmth[0]
    return f"Highest temperature, {nearest.name}: {celsius_words(nearest)}."


def _trips(figures: Figures) -> str:
    trips = figures.trips
    if not trips:
        return "No protection rule tripped."
    named = ", ".join(
        f"{trip.title} (minute {minute(trip.at_s)})" for trip in trips[:MOST_TRIPS_NAMED]
    )
    more = ", and more" if len(trips) > MOST_TRIPS_NAMED else ""
    times = "once" if len(trips) == 1 else f"{len(trips)} times"
    found = ", or was found locked out," if any(trip.is_found_locked for trip in trips) else ""
    return f"It tripped{found} {times}: {named}{more}."


def _unknown(record: Record, figures: Figures) -> Iterator[str]:
    if record.damage:
        yield "The journal's file is damaged: what is said here may be wrong, or lack something."
    shown = sum(event.code in TRIPS for event in record.events)
    if (hidden := record.session.trips - shown) > 0:
        yield f"{hidden} more noted as a trip cannot be placed in time: nothing here tells of it."
    if not record.has_samples:
        yield "No samples of it were kept: this report has its events and trips only."
    if figures.unseen:
        yield (
            "A run ended without a word while the contactor was closed: what flowed until the next"
            f" start nobody knows. {NOT_KEPT}"
        )
    if record.has_samples and gap_words(figures) != "none":
        yield f"{capital(gap_clause(figures))}."
    if figures.check and not figures.check.is_sound:
        yield "The counted charge and the samples do not agree: see how good the record is."


def _left_out(record: Record) -> Iterator[str]:
    if reason := record.session.settings.get("uncommissioned_reason"):
        yield f"The build was not commissioned, and that was accepted: {reason}."
