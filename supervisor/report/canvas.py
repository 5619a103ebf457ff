"""Figures as SVG to stand in a page: how every plot of the report looks.

Lines differ by their strokes as well as by their shades, so that a black-and-white print tells
them apart. Names are drawn as they are written: nothing in them is taken for a formula.
"""

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from itertools import count
from typing import Any

import matplotlib as mpl
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from supervisor.report.envelope import Envelope
from supervisor.report.timeline import Timeline
from supervisor.report.words import MINUTE_S, utc

Style = dict[str, Any]
Stroke = str | tuple[float, tuple[float, ...]]  # as matplotlib takes it
WIDTH_IN = 8.0
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
    "path.simplify": False,
}
STEPS_MIN = (0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 240, 360, 720, 1440, 2880, 7200)
MOST_TICKS = 9
FRONT: Style = {"color": "#12365c", "linestyle": "-", "linewidth": 1.2}
FAR: Style = {"color": "#a8561c", "linestyle": (0, (4, 1.6)), "linewidth": 1.1}
LIMIT: Style = {"color": "black", "linewidth": 0.9}

_ids = count(1)


@contextmanager
def look() -> Iterator[None]:
    with mpl.rc_context(LOOK):
        yield


def new_figure(height_in: float) -> Figure:
    return Figure(figsize=(WIDTH_IN, height_in), layout="constrained")


def svg(figure: Figure, *, says: str, is_simulated: bool) -> Markup:
    """To be put into a page. ``says``: for those who cannot see it."""
    if is_simulated:
        figure.text(
            0.5, 0.5, "SIMULATED", fontsize=62, weight="bold", color="black", alpha=0.13,
            rotation=18, ha="center", va="center", zorder=10,
        )  # fmt: skip
    out = StringIO()
    own_ids: dict[Any, Any] = {"svg.hashsalt": f"plot {next(_ids)}"}  # two in a page share none
    with warnings.catch_warnings(), mpl.rc_context(own_ids):
        warnings.filterwarnings("ignore", "Glyph .* missing")  # the reader's own fonts draw it
        figure.savefig(out, format="svg", metadata=dict.fromkeys(("Date", "Creator")))
    drawing = out.getvalue()
    drawing = drawing[drawing.index("<svg") :]
    return Markup('<svg role="img" aria-label="{}"').format(says) + Markup(drawing[4:])


def draw_band(axes: Axes, envelope: Envelope, style: Style, label: str) -> None:
    """Mean as a line, lowest to highest as a shade behind it; nothing when nothing is known."""
    if len(envelope.at_s) == 0:
        return
    axes.fill_between(
        envelope.at_s, envelope.band.low, envelope.band.high,
        color=style["color"], alpha=0.22, linewidth=0.3,
    )  # fmt: skip
    axes.plot(envelope.at_s, envelope.band.mean, label=label, **style)


def draw_limit(axes: Axes, value: float, words: str, stroke: Stroke) -> None:
    axes.axhline(value, linestyle=stroke, **LIMIT)
    axes.annotate(
        words, (0.005, value), xycoords=("axes fraction", "data"), xytext=(0, 2),
        textcoords="offset points", fontsize=7.5, va="bottom",
    )  # fmt: skip


def draw_legend(axes: Axes, columns: int) -> None:
    """Above the plot: there it hides nothing."""
    if axes.get_legend_handles_labels()[0]:
        axes.legend(loc="lower right", bbox_to_anchor=(1.0, 0.99), ncols=columns, borderpad=0.1)


def draw_breaks(axes: Axes, timeline: Timeline) -> None:
    for from_s, to_s in timeline.breaks():
        axes.axvspan(from_s, to_s, facecolor="white", edgecolor="0.5", hatch="///", zorder=5)


def name_minutes(axes: Axes, from_s: float, to_s: float) -> None:
    """The lower axis: minutes since the session began."""
    at_s = _ticks_s(from_s, to_s)
    axes.set_xlim(from_s, to_s)
    axes.set_xticks(at_s, [f"{s / MINUTE_S:.6g}" for s in at_s])
    axes.set_xlabel("minutes since the session began")


def name_utc(axes: Axes, timeline: Timeline, from_s: float, to_s: float) -> None:
    """The upper axis, at the same places."""
    at_s = _ticks_s(from_s, to_s)
    form = "%H:%M:%S" if at_s[1:] and at_s[1] - at_s[0] < 60 else "%H:%M"
    if to_s - from_s > 20 * 3600:
        form = "%d %b\n%H:%M"
    upper = axes.secondary_xaxis("top")
    upper.set_xticks(at_s, [utc(timeline.wall_s(s), form) for s in at_s])
    upper.tick_params(labelsize=7.5, length=0, pad=11)  # the numbers stand in between
    upper.set_xlabel(f"UTC, {utc(timeline.wall_s(from_s), '%d %b %Y')}", fontsize=7.5)


def _ticks_s(from_s: float, to_s: float) -> list[float]:
    length_min = (to_s - from_s) / MINUTE_S
    step = next((s for s in STEPS_MIN if length_min / s <= MOST_TICKS), STEPS_MIN[-1]) * MINUTE_S
    first = -(-from_s // step)
    return [k * step for k in range(int(first), int(to_s // step) + 1)]
