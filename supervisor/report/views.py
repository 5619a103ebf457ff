"""Which parts of a session are drawn: all of it, the end of charging, and the rest after it."""

from typing import NamedTuple

from markupsafe import Markup

from supervisor.report.ending import is_under_way
from supervisor.report.figures import Figures
from supervisor.report.marks import Mark
from supervisor.report.plots import View, session_plot
from supervisor.report.record import Record
from supervisor.report.rest_phase import RestPhase, rest_phases

LAST_S, AFTER_S = 3600.0, 60.0
LEAST_ENLARGED = 1 / 3  # of the charge, when all of it takes hardly longer than an hour
LEAST_S = 60.0
BESIDE_END = 0.03  # of its length is drawn beyond what happened last
BESIDE_REST = 0.05


class Plot(NamedTuple):
    """``leaves_out``: the record goes on after what is drawn."""

    title: str
    svg: Markup
    leaves_out: bool


def plots_of(record: Record, figures: Figures, marks: list[Mark]) -> list[Plot]:
    """None without samples."""
    if not record.has_samples:
        return []
    ends_s, phases = record.timeline.ends_s, rest_phases(record, figures)
    to_s = _shown_to_s(record, figures, phases)
    whole = View(record, figures, marks, 0.0, to_s)
    plots = [_plot(whole, "The whole session", leaves_out=to_s < ends_s - LEAST_S)]
    if (end_s := figures.charge_ends_s) is not None:
        length_s = max(LEAST_S, min(LAST_S, LEAST_ENLARGED * end_s))
        after_s = min(AFTER_S, length_s / 4)
        last = View(record, figures, marks, max(0.0, end_s - length_s), end_s + after_s)
        until = "the newest sample" if is_under_way(record) else "the end of charging"
        plots.append(_plot(last, f"The last {length_s / 60:.0f} min before {until}"))
    if phases:
        rest = phases[-1]
        beside_s = BESIDE_REST * (rest.to_s - rest.from_s)
        view = View(
            record, figures, marks, max(0.0, rest.from_s - beside_s), rest.to_s + beside_s,
            is_rest=True,
        )  # fmt: skip
        plots.append(_plot(view, "The rest after the charge"))
    return plots


def _plot(view: View, title: str, *, leaves_out: bool = False) -> Plot:
    return Plot(title, session_plot(view, f"{title}: cell voltages and more"), leaves_out)


def _shown_to_s(record: Record, figures: Figures, phases: list[RestPhase]) -> float:
    """A long time open after all is over would press the charge into a corner."""
    ends_s = record.timeline.ends_s
    told = [e.at_s for e in record.events if e.code not in ("cue_ended", "journal_lost")]
    last_s = max([*told, figures.charge_ends_s or 0.0, *(phase.to_s for phase in phases)])
    return min(ends_s, last_s + max(LEAST_S, BESIDE_END * last_s)) if told else ends_s
