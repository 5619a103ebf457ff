"""Several sessions on one page: the same plots, and one table; of two, how they differ."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from supervisor.report.charge import Amount
from supervisor.report.compare_plots import Compared, comparison_plot
from supervisor.report.figures import Figures, figures_of
from supervisor.report.mark import mark_of
from supervisor.report.record import Record, Tell
from supervisor.report.rendering import render
from supervisor.report.summary import celsius_words
from supervisor.report.unknown_told import gap_clause, gap_words
from supervisor.report.verdict import judge
from supervisor.report.words import UNKNOWN, duration, millivolts, minute, number, utc

PAIR = 2
LEAST_OF = 1e-3  # of both: what is nearer to nothing has no relative change


@dataclass(frozen=True, slots=True)
class Row:
    """``change``, ``relative``: of the second against the first, empty where that says nothing."""

    label: str
    cells: tuple[str, ...]
    change: str = ""
    relative: str = ""


def comparison_page(records: list[Record], tell: Tell) -> str:
    tell("figures of all sessions")
    sessions = [Compared(record, figures_of(record)) for record in records]
    tell("plots of all sessions")
    simulated = [record for record in records if record.session.is_simulated]
    measured = [record for record in records if not record.session.is_simulated]
    return render(
        "compare.html",
        mark=mark_of(record.session for record in records),
        sessions=sessions,
        rows=list(_rows(sessions)),
        is_pair=len(sessions) == PAIR,
        has_least=any(not s.figures.charge.is_whole for s in sessions),
        plots=_plots(sessions),
        without_samples=[r.name for r in records if not r.has_samples],
        simulated=_numbered("SIMULATED", simulated) if simulated else "",
        measured=_numbered("Measured", measured) if measured else "",
    )


def _numbered(word: str, records: Sequence[Record]) -> str:
    numbers = ", ".join(str(record.session.id) for record in records)
    return f"{word}: session{'s' if len(records) > 1 else ''} {numbers}"


def _plots(sessions: list[Compared]) -> list[Markup]:
    """From the begin, and towards the end of charging; none where nothing can be drawn."""
    if not any(session.record.has_samples for session in sessions):
        return []
    return [comparison_plot(sessions, by_end=by_end) for by_end in (False, True)]


def _rows(sessions: list[Compared]) -> Iterator[Row]:
    yield _said("Bank", sessions, lambda s: s.record.session.bank)
    yield _said(
        "Cells, profile",
        sessions,
        lambda s: f"{s.record.session.cells}, {s.record.session.profile}",
    )
    yield _said("Began, UTC", sessions, lambda s: utc(s.record.session.began_wall_s))
    yield _said("Full?", sessions, _full)
    yield _said("Rest check", sessions, lambda s: judge(s.record, s.figures).rest or "not made")
    figures = [s.figures for s in sessions]
    yield _amount("Charge", [f.charge.ah for f in figures])
    yield _amount("Energy", [f.charge.wh for f in figures])
    yield _amount("Charge from the samples", [f.charge.sampled_ah for f in figures])
    yield _figure("Highest voltage of a measured cell", figures, _peak_v, "V", 4, _peak)
    yield _figure(
        "Margin to the maker's limit", figures, lambda f: f.margin_v, "V", 4,
        lambda f: "not known" if f.margin_v is None else millivolts(f.margin_v),
    )  # fmt: skip
    yield _figure("Highest current", figures, lambda f: f.highest_a, "A", 1)
    yield _figure("End current", figures, _end_a, "A", 2, _end)
    for probe in sorted({w.probe for f in figures for w in f.warmth}):
        yield _celsius(probe, figures)
    yield _figure("Time closed", figures, _closed_min, "min", 1, lambda f: duration(f.closed_s))
    yield _figure(
        "Time in the hold, closed", figures, _hold_min, "min", 1, lambda f: duration(f.hold_s)
    )
    yield _said("Gaps while closed, or perhaps closed", sessions, lambda s: _gaps(s.figures))
    yield _figure("Zero of the shunt", figures, lambda f: f.zero_a, "A", 3, _zero)
    yield _said("Trips", sessions, _trips)
    yield _figure("Cues", figures, lambda f: float(len(f.cues)), "", 0)
    yield _said("Recorded by", sessions, lambda s: f"holdwatch {s.record.session.version}")
    yield _said("Settings, SHA-256", sessions, lambda s: s.record.session.settings_sha256[:16])


def _said(label: str, sessions: list[Compared], of: Callable[[Compared], str]) -> Row:
    return Row(label, tuple(of(session) for session in sessions))


def _figure(
    label: str,
    figures: list[Figures],
    of: Callable[[Figures], float | None],
    unit: str,
    digits: int,
    words: Callable[[Figures], str] | None = None,
) -> Row:
    values = [of(one) for one in figures]
    cells = [
        words(one) if words else number(value, digits, unit).strip()
        for one, value in zip(figures, values, strict=True)
    ]
    return _changed(label, cells, values, unit, digits)


def _amount(label: str, amounts: Sequence[Amount]) -> Row:
    """Of what says "at least" nothing is worked out."""
    cells = [one.words for one in amounts]
    if len(amounts) == PAIR and any(one.is_least for one in amounts):
        return Row(label, tuple(cells), UNKNOWN)
    return _changed(label, cells, [one.value for one in amounts], amounts[0].unit, 3)


def _changed(
    label: str, cells: Sequence[str], values: Sequence[float | None], unit: str, digits: int
) -> Row:
    if len(values) != PAIR or values[0] is None or values[1] is None:
        return Row(label, tuple(cells))
    return Row(label, tuple(cells), *_change(values[0], values[1], unit, digits))


def _change(before: float, after: float, unit: str, digits: int) -> tuple[str, str]:
    change = f"{after - before:+.{digits}f} {unit}".strip()
    if abs(before) <= LEAST_OF * abs(after):
        return change, ""
    return change, f"{(after - before) / abs(before) * 100:+.1f} %"


def _celsius(probe: str, figures: list[Figures]) -> Row:
    def found(one: Figures) -> float | None:
        return next((w.hottest.celsius for w in one.warmth if w.probe == probe), None)

    def words(one: Figures) -> str:
        return next((celsius_words(w) for w in one.warmth if w.probe == probe), "not measured")

    row = _figure(f"Highest temperature, probe {probe}", figures, found, "K", 1, words)
    return Row(row.label, row.cells, row.change)  # a part of degrees Celsius says nothing


def _full(session: Compared) -> str:
    verdict = judge(session.record, session.figures)
    return f"{verdict.word}: {verdict.why}{'. ' if verdict.beside else ''}{verdict.beside}"


def _end_a(figures: Figures) -> float | None:
    """Of a full bank: the current of another one's opening says nothing beside it."""
    return figures.end.amperes if figures.end and figures.end.is_full else None


def _end(figures: Figures) -> str:
    if figures.end is None:
        return UNKNOWN
    amperes = number(figures.end.amperes, 2, "A")
    if figures.end.is_full:
        return amperes
    return f"none: not full. {figures.end.label}: {amperes}, {figures.end.words}"


def _zero(figures: Figures) -> str:
    return "not known, not taken out" if figures.zero_a is None else number(figures.zero_a, 3, "A")


def _peak_v(figures: Figures) -> float | None:
    return figures.peak.volts if figures.peak else None


def _peak(figures: Figures) -> str:
    peak = figures.peak
    return f"{peak.volts:.4f} V, {peak.cell}" if peak else "not known"


def _closed_min(figures: Figures) -> float:
    return figures.closed_s / 60


def _hold_min(figures: Figures) -> float:
    return figures.hold_s / 60


def _gaps(figures: Figures) -> str:
    return f"{gap_words(figures)}: {gap_clause(figures)}"


def _trips(session: Compared) -> str:
    told = (f"{trip.title} (minute {minute(trip.at_s)})" for trip in session.figures.trips)
    return ", ".join(told) or "none"
