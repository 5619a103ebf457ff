"""Several sessions on one page: the same plots, and one table; of two, how they differ."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from supervisor.report.charge import Amount
from supervisor.report.compare_plots import Compared, comparison_plot
from supervisor.report.figures import Figures, figures_of
from supervisor.report.record import Record, Tell
from supervisor.report.rendering import render
from supervisor.report.summary import celsius_words
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
    simulated = [str(r.session.id) for r in records if r.session.is_simulated]
    return render(
        "compare.html",
        sessions=sessions,
        rows=list(_rows(sessions)),
        is_pair=len(sessions) == PAIR,
        has_least=any(not s.figures.charge.is_whole for s in sessions),
        from_begin=comparison_plot(sessions, by_end=False),
        to_end=comparison_plot(sessions, by_end=True),
        simulated=f"SIMULATED: session {', '.join(simulated)}" if simulated else "",
    )


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
    yield _figure("Highest single value of a cell", figures, _peak_v, "V", 4, _peak)
    yield _figure(
        "Margin to the maker's limit", figures, lambda f: f.margin_v, "V", 4,
        lambda f: "not known" if f.margin_v is None else millivolts(f.margin_v),
    )  # fmt: skip
    yield _figure("Highest single value of the current", figures, lambda f: f.highest_a, "A", 1)
    yield _figure("End current", figures, lambda f: f.end.amperes if f.end else None, "A", 2)
    for probe in sorted({w.probe for f in figures for w in f.warmth}):
        yield _celsius(probe, figures)
    yield _figure("Time closed", figures, _closed_min, "min", 1, lambda f: duration(f.closed_s))
    yield _figure(
        "Time in the hold, closed", figures, _hold_min, "min", 1, lambda f: duration(f.hold_s)
    )
    yield _said("Gaps, while closed", sessions, _gaps)
    yield _figure("Zero of the shunt", figures, lambda f: f.zero_a, "A", 3)
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
    return f"{verdict.word}: {verdict.why}"


def _peak_v(figures: Figures) -> float | None:
    return figures.peak.volts if figures.peak else None


def _peak(figures: Figures) -> str:
    peak = figures.peak
    return f"{peak.volts:.4f} V, {peak.cell}" if peak else "not known"


def _closed_min(figures: Figures) -> float:
    return figures.closed_s / 60


def _hold_min(figures: Figures) -> float:
    return figures.hold_s / 60


def _gaps(session: Compared) -> str:
    gaps, unseen = session.figures.gaps, session.figures.unseen
    known = "none" if gaps.total_s < 0.5 else duration(gaps.total_s)
    return f"{known}; and an end that nobody saw" if unseen else known


def _trips(session: Compared) -> str:
    told = (f"{trip.title} (minute {minute(trip.at_s)})" for trip in session.figures.trips)
    return ", ".join(told) or "none"
