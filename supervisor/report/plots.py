"""The plots of one session: all of it, and the end of charging enlarged."""

from dataclasses import dataclass

from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from supervisor.report.canvas import (
    FAR,
    FRONT,
    Stroke,
    draw_band,
    draw_breaks,
    draw_legend,
    draw_limit,
    look,
    name_minutes,
    name_utc,
    new_figure,
    svg,
)
from supervisor.report.envelope import envelope
from supervisor.report.figures import Figures
from supervisor.report.lanes import draw_lanes, name_stages
from supervisor.report.marks import Mark, labels
from supervisor.report.record import Record
from supervisor.report.series import Series
from supervisor.report.settings_told import dig

NEAREST = 0.022  # two numbers, as a part of the plot's width
STROKES: tuple[Stroke, ...] = ("-", (0, (3, 1, 1, 1)), (0, (1, 1.5)))
PROBE_STROKES: tuple[Stroke, ...] = ("-", "--", "-.", ":")
LEAST_LENGTH_S = 1.0
ROOM = 0.1  # above the highest limit: for its words


@dataclass(frozen=True, slots=True)
class View:
    """What is drawn, and from where to where."""

    record: Record
    figures: Figures
    marks: list[Mark]
    from_s: float
    to_s: float


def session_plot(view: View, says: str) -> Markup:
    """Stages and closings, cell voltages, current, and temperatures if there are any."""
    record, rows = view.record, view.record.series.between(view.from_s, view.to_s)
    heights = [0.5, 3.1, 1.6] + ([1.4] if record.temperatures else [])
    with look():
        figure = new_figure(sum(heights) + 0.9)
        panels = figure.subplots(len(heights), 1, sharex=True, height_ratios=heights)
        draw_lanes(panels[0], view.figures)
        _draw_volts(panels[1], view, rows)
        _draw_amperes(panels[2], rows)
        if record.temperatures:
            _draw_celsius(panels[3], record)
        _finish(figure, list(panels), view)
        return svg(figure, says=says, is_simulated=record.session.is_simulated)


def _draw_volts(axes: Axes, view: View, rows: Series) -> None:
    gaps = rows.gap_before()
    draw_band(axes, envelope(rows.at_s, rows.front_v, gaps), FRONT, "front cell")
    draw_band(axes, envelope(rows.at_s, rows.far_v, gaps), FAR, "far cell")
    settings = view.record.session.settings
    limits = (
        ("bank.never_above_volts", "the maker's limit"),
        ("protection.overvoltage.trip_volts", "overvoltage trips"),
        ("charge.hold_volts", "to hold at most"),
    )
    for (path, words), stroke in zip(limits, STROKES, strict=True):
        if (volts := dig(settings, path)) is not None:
            draw_limit(axes, volts, f"{words} {volts:.3f} V", stroke)
    peak = view.figures.peak
    if peak is not None and view.from_s <= peak.at_s <= view.to_s:
        axes.plot(peak.at_s, peak.volts, "v", color="black", markersize=5, zorder=6, clip_on=False)
        axes.plot([], [], "v", color="black", markersize=5, label=f"peak {peak.volts:.3f} V")
    axes.margins(y=ROOM)
    axes.set_ylabel("cell voltage, V")
    draw_legend(axes, 3)


def _draw_amperes(axes: Axes, rows: Series) -> None:
    draw_band(axes, envelope(rows.at_s, rows.current_a, rows.gap_before()), FRONT, "current")
    axes.axhline(0.0, color="black", linewidth=0.6)
    axes.set_ylabel("current, A")


def _draw_celsius(axes: Axes, record: Record) -> None:
    for k, curve in enumerate(record.temperatures):
        stroke = PROBE_STROKES[k % len(PROBE_STROKES)]
        axes.plot(
            curve.at_s, curve.celsius, linestyle=stroke, color=str(0.5 * (k // 4 % 2)),
            linewidth=1.1, label=curve.name.lstrip("_"),
        )  # fmt: skip
    axes.set_ylabel("temperature, °C")
    draw_legend(axes, 4)


def _finish(figure: Figure, panels: list[Axes], view: View) -> None:
    """Numbers and axes, and whose plot it is: it may be copied out of the report."""
    from_s, to_s = view.from_s, max(view.to_s, view.from_s + LEAST_LENGTH_S)
    seen = [mark for mark in view.marks if from_s <= mark.event.at_s <= to_s]
    for label in labels(seen, NEAREST * (to_s - from_s)):
        panels[0].annotate(
            label.text, (label.at_s, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 2),
            textcoords="offset points", ha="center", fontsize=7.5, weight="bold",
        )  # fmt: skip
    for mark in seen:
        for axes in panels:
            axes.axvline(mark.event.at_s, color="0.35", linewidth=0.6, linestyle=(0, (1, 2)))
    name_stages(panels[0], view.figures, from_s, to_s)
    for axes in panels:
        draw_breaks(axes, view.record.timeline)
        axes.label_outer()
    name_minutes(panels[-1], from_s, to_s)
    name_utc(panels[0], view.record.timeline, from_s, to_s)
    session = view.record.session
    figure.suptitle(f"{session.bank}, {view.record.name}", fontsize=8, x=0.01, ha="left")
