"""Numbers of the events above a plot, and a dotted line through it for each."""

from collections.abc import Iterable, Sequence

from matplotlib.axes import Axes

from supervisor.report.canvas import SMALL, Format
from supervisor.report.marks import Mark, labels

NEAREST_IN = 0.3  # two numbers, or two groups of them: 4–7
FINEST = 1 / 800  # two lines, as a part of the plot's width


def draw_marks(
    top: Axes, panels: Iterable[Axes], marks: Sequence[Mark], form: Format, from_s: float,
    to_s: float,
) -> None:  # fmt: skip
    seen = [mark for mark in marks if from_s <= mark.event.at_s <= to_s]
    for label in labels(seen, NEAREST_IN / form.width_in * (to_s - from_s)):
        top.annotate(
            label.text, (label.at_s, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 2),
            textcoords="offset points", ha="center", fontsize=SMALL, weight="bold",
        )  # fmt: skip
    at_s = _apart([mark.event.at_s for mark in seen], FINEST * (to_s - from_s))
    for axes in (top, *panels):
        axes.vlines(
            at_s, 0.0, 1.0, transform=axes.get_xaxis_transform(), color="0.35", linewidth=0.6,
            linestyle=(0, (1, 2)),
        )  # fmt: skip


def _apart(at_s: Iterable[float], least_s: float) -> list[float]:
    chosen: list[float] = []
    for one_s in at_s:
        if not chosen or one_s - chosen[-1] >= least_s:
            chosen.append(one_s)
    return chosen
