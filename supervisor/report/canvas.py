"""Figures as SVG to stand in a page: how every plot of the report looks.

Each is drawn twice, for a desk or paper and for a phone; the style sheet shows the one that fits.
Lines differ by their strokes and marks as well as by their shades, so that a black-and-white print
tells them apart. Names are drawn as they are written: nothing in them is taken for a formula.
"""

import textwrap
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from io import StringIO
from itertools import count
from typing import Any

import matplotlib as mpl
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from supervisor.report.envelope import Envelope
from supervisor.report.ticks import minute_ticks, utc_ticks
from supervisor.report.timeline import Timeline
from supervisor.report.words import utc

Style = dict[str, Any]
Stroke = str | tuple[float, tuple[float, ...]]  # as matplotlib takes it
LOOK: dict[Any, Any] = {
    "svg.fonttype": "none",  # text stays text: small, searchable, legible at any size
    "text.parse_math": False,
    "font.family": "sans-serif",
    "font.size": 8.5,
    "axes.spines.right": False,
    "axes.linewidth": 0.7,
    "axes.grid": True,
    "grid.color": "0.88",
    "grid.linewidth": 0.5,
    "axes.formatter.useoffset": False,
    "legend.frameon": False,
    "legend.fontsize": 7.5,
    "legend.columnspacing": 1.4,
    "legend.handlelength": 2.6,
    "path.simplify": False,
    "hatch.linewidth": 0.5,
    "hatch.color": "0.45",
}
SMALL = 7.5
FRONT: Style = {"color": "#12365c", "linestyle": "-", "linewidth": 1.3}
FAR: Style = {
    "color": "#b4682c", "linestyle": (0, (4, 1.6)), "linewidth": 1.1,
    "marker": "o", "markersize": 3.2, "markerfacecolor": "white",
}  # fmt: skip
LINE: Style = {"color": "black", "linewidth": 0.9}
MARKERS_A_LINE = 10
LETTERS_AN_INCH = 15
SIMULATED_PARTS = 8.4  # its letters, as parts of the plot's width


@dataclass(frozen=True, slots=True)
class Format:
    """What fits into a plot of this width."""

    name: str  # of its class in the style sheet
    width_in: float
    most_points: int
    most_ticks: int
    legend_columns: int
    stretch: float  # of its height: more rows of words stand in it

    def figure(self, height_in: float, title: str) -> Figure:
        """Whose plot it is stands above it: it may be copied out of the report."""
        figure = Figure(figsize=(self.width_in, self.stretch * height_in), layout="constrained")
        wrapped = textwrap.fill(title, round(self.width_in * LETTERS_AN_INCH))
        figure.suptitle(wrapped, fontsize=8, x=0.01, ha="left")
        return figure


FORMATS = (Format("broad", 8.0, 1200, 9, 4, 1.0), Format("narrow", 3.7, 500, 5, 2, 1.2))

_ids = count(1)


def drawn(draw: Callable[[Format], Figure], *, says: str, is_simulated: bool) -> Markup:
    """In every format, to be put into a page. ``says``: for those who cannot see it."""
    plots = []
    for form in FORMATS:
        with mpl.rc_context(LOOK):
            figure = draw(form)
            if is_simulated:
                _mark_simulated(figure, form)
            plots.append(_svg(figure, form, says))
    return Markup("").join(plots)


def _mark_simulated(figure: Figure, form: Format) -> None:
    figure.text(
        0.5, 0.5, "SIMULATED", fontsize=72 * form.width_in / SIMULATED_PARTS, weight="bold",
        color="black", alpha=0.12, rotation=18, ha="center", va="center", zorder=10,
    )  # fmt: skip


def _svg(figure: Figure, form: Format, says: str) -> Markup:
    out = StringIO()
    own_ids: dict[Any, Any] = {"svg.hashsalt": f"plot {next(_ids)}"}  # two in a page share none
    with warnings.catch_warnings(), mpl.rc_context(own_ids):
        warnings.filterwarnings("ignore", "Glyph .* missing")  # the reader's own fonts draw it
        figure.savefig(out, format="svg", metadata=dict.fromkeys(("Date", "Creator")))
    drawing = out.getvalue()
    drawing = drawing[drawing.index("<svg") :]
    opening = Markup('<svg class="{}" role="img" aria-label="{}"').format(form.name, says)
    return opening + Markup(drawing[4:])


def draw_band(axes: Axes, envelope: Envelope, style: Style, label: str) -> None:
    """Mean as a line, lowest to highest as a shade behind it; nothing when nothing is known."""
    if len(envelope.at_s) == 0:
        return
    axes.fill_between(
        envelope.at_s, envelope.band.low, envelope.band.high,
        color=style["color"], alpha=0.22, linewidth=0.3,
    )  # fmt: skip
    every = max(1, len(envelope.at_s) // MARKERS_A_LINE)
    axes.plot(envelope.at_s, envelope.band.mean, label=label, markevery=every, **style)


def draw_legend(axes: Axes, form: Format) -> None:
    """Above the plot: there it hides nothing."""
    if axes.get_legend_handles_labels()[0]:
        axes.legend(
            loc="lower right", bbox_to_anchor=(1.0, 0.99), ncols=form.legend_columns, borderpad=0.1
        )


def name_minutes(axes: Axes, form: Format, from_s: float, to_s: float) -> None:
    """The lower axis: minutes since the session began."""
    ticks = minute_ticks(from_s, to_s, form.most_ticks)
    axes.set_xlim(from_s, to_s)
    axes.set_xticks([tick.at_s for tick in ticks], [tick.text for tick in ticks])
    axes.set_xlabel("minutes since the session began")


def name_utc(axes: Axes, form: Format, timeline: Timeline, from_s: float, to_s: float) -> None:
    """The upper axis, at round times; the numbers of the events stand between it and the plot."""
    ticks = utc_ticks(timeline, from_s, to_s, form.most_ticks)
    upper = axes.secondary_xaxis("top")
    upper.set_xticks([tick.at_s for tick in ticks], [tick.text for tick in ticks])
    upper.tick_params(labelsize=SMALL, length=3, pad=9)
    upper.set_xlabel(f"UTC, {utc(timeline.wall_s(from_s), '%d %b %Y')}", fontsize=SMALL)
