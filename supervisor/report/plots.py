"""The plots of one session: stages and closings, and below them what was measured."""

from collections.abc import Callable
from dataclasses import dataclass

from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from supervisor.report.canvas import Format, draw_legend, drawn, name_minutes, name_utc
from supervisor.report.figures import Figures
from supervisor.report.in_force import in_force
from supervisor.report.lanes import draw_lanes, name_stages
from supervisor.report.limit_lines import (
    current_limits,
    rest_limits,
    spread_limits,
    temperature_limits,
    voltage_limits,
)
from supervisor.report.marks import Mark
from supervisor.report.marks_drawn import draw_marks
from supervisor.report.panels import Panels, mark_peak
from supervisor.report.record import Record
from supervisor.report.rest_phase import RestPhase, rest_phases
from supervisor.report.unknown import draw_unknown, unknown_times

LEAST_LENGTH_S = 1.0
LANES_IN, VOLTS_IN, DIFFERENCE_IN, AMPERES_IN, CELSIUS_IN, ROUND_IN = 0.4, 1.9, 0.8, 0.9, 0.9, 1.0
REST_ALPHA = 0.1


@dataclass(frozen=True, slots=True)
class View:
    """What is drawn, and from where to where. ``is_rest``: only what tells of a rest."""

    record: Record
    figures: Figures
    marks: list[Mark]
    from_s: float
    to_s: float
    is_rest: bool = False

    @property
    def ends_s(self) -> float:
        return max(self.to_s, self.from_s + LEAST_LENGTH_S)


@dataclass(frozen=True, slots=True)
class _Panel:
    height_in: float
    draw: Callable[[Axes], None]


def session_plot(view: View, says: str) -> Markup:
    """Stages and closings, cell voltages and their difference, current, and temperatures."""
    record = view.record
    return drawn(
        lambda form: _figure(view, form), says=says, is_simulated=record.session.is_simulated
    )


def _figure(view: View, form: Format) -> Figure:
    record = view.record
    stack = _stack(view, form)
    heights_in = [LANES_IN, *(panel.height_in for panel in stack)]
    figure = form.figure(sum(heights_in) + ROUND_IN, f"{record.session.bank}, {record.name}")
    lanes, *panels = figure.subplots(len(heights_in), 1, sharex=True, height_ratios=heights_in)
    draw_lanes(lanes, view.figures)
    for panel, axes in zip(stack, panels, strict=True):
        panel.draw(axes)
    _finish(view, form, figure, lanes, panels)
    return figure


def _stack(view: View, form: Format) -> list[_Panel]:
    """From top to bottom; what was not measured has no panel."""
    record, spells = view.record, in_force(view.record)
    rows = record.series.between(view.from_s, view.ends_s)
    panels = Panels(record, rows, spells, form, view.from_s, view.ends_s)
    phases = rest_phases(record, view.figures)

    def volts(axes: Axes) -> None:
        panels.volts(axes, rest_limits(spells) if view.is_rest else voltage_limits(spells))
        mark_peak(axes, view.figures, view.from_s, view.ends_s)
        _draw_rests(axes, phases)

    stack = [_Panel(VOLTS_IN, volts)]
    if panels.has_difference:
        spread = spread_limits(spells) if view.is_rest else ()
        stack.append(_Panel(DIFFERENCE_IN, lambda axes: panels.difference(axes, spread)))
    if not view.is_rest:
        stack.append(_Panel(AMPERES_IN, lambda axes: panels.amperes(axes, current_limits(spells))))
        if record.temperatures:
            limits = temperature_limits(record, spells)
            stack.append(_Panel(CELSIUS_IN, lambda axes: panels.celsius(axes, limits)))
    return stack


def _draw_rests(axes: Axes, phases: list[RestPhase]) -> None:
    for phase in phases:
        axes.axvspan(
            phase.from_s, phase.to_s, facecolor="black", alpha=REST_ALPHA, linewidth=0,
            label=phase.words, zorder=0,
        )  # fmt: skip


def _finish(view: View, form: Format, figure: Figure, lanes: Axes, panels: list[Axes]) -> None:
    from_s, to_s = view.from_s, view.ends_s
    times = unknown_times(view.record.timeline, view.figures)
    draw_unknown(lanes, panels, times, from_s, to_s)
    name_stages(lanes, view.figures, form, from_s, to_s)
    draw_marks(lanes, panels, view.marks, form, from_s, to_s)
    for axes in (lanes, *panels):
        axes.label_outer()
        draw_legend(axes, form)
    figure.align_ylabels(panels)
    name_minutes(panels[-1], form, from_s, to_s)
    name_utc(lanes, form, view.record.timeline, from_s, to_s)
