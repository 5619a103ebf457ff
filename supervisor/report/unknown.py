"""Times of which a plot knows nothing: shaded, hatched, and named."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from matplotlib.axes import Axes

from supervisor.report.canvas import SMALL
from supervisor.report.figures import Figures
from supervisor.report.timeline import Timeline

NARROWEST = 1 / 400  # of the width: what is nearer is drawn as one, what is narrower as wide
LEAST_PART = 0.12  # of the width: in a narrower one there is no room for its words
NO_SAMPLES, UNSEEN = "closed, no good samples", "ended without a word"
NOT_RECORDED, BREAK = "open, not recorded", "unknown, length as well"
# Later ones lie on top.
HATCHES = {NO_SAMPLES: "\\\\\\\\", UNSEEN: "xxxx", NOT_RECORDED: "....", BREAK: "////"}

IN_LANES = {UNSEEN, BREAK}  # whether it was closed is not known either


class Unknown(NamedTuple):
    words: str
    from_s: float
    to_s: float


def unknown_times(timeline: Timeline, figures: Figures) -> list[Unknown]:
    """All that the record does not tell."""
    return [
        *(Unknown(NO_SAMPLES, gap.from_s, gap.to_s) for gap in figures.gaps.whole),
        *(Unknown(UNSEEN, one.from_s, one.to_s) for one in figures.unseen if one.is_dated),
        *(Unknown(NOT_RECORDED, hole.from_s, hole.to_s) for hole in figures.holes),
        *(Unknown(BREAK, from_s, to_s) for from_s, to_s in timeline.breaks()),
    ]


def draw_unknown(
    lanes: Axes, panels: Sequence[Axes], times: Iterable[Unknown], from_s: float, to_s: float
) -> None:
    """In every panel; with words and a sample of the hatch in the legend of the first."""
    seen = [time for time in times if time.to_s > from_s and time.from_s < to_s]
    least_s = NARROWEST * (to_s - from_s)
    for words, hatch in HATCHES.items():
        spans = _merged([time for time in seen if time.words == words], least_s)
        if not spans:
            continue
        for axes in (lanes, *panels) if words in IN_LANES else panels:
            axes.broken_barh(
                [(begins_s, ends_s - begins_s) for begins_s, ends_s in spans], (0.0, 1.0),
                transform=axes.get_xaxis_transform(), facecolor="0.94", edgecolor="0.45",
                linewidth=0.5, hatch=hatch, zorder=4, label=words if axes is panels[0] else None,
            )  # fmt: skip
        _name(panels[0], words, spans, from_s, to_s)


def _merged(times: Iterable[Unknown], least_s: float) -> list[tuple[float, float]]:
    merged: list[tuple[float, float]] = []
    for time in sorted(times, key=lambda time: time.from_s):
        ends_s = max(time.to_s, time.from_s + least_s)
        if merged and time.from_s - merged[-1][1] < least_s:
            merged[-1] = (merged[-1][0], max(merged[-1][1], ends_s))
        else:
            merged.append((time.from_s, ends_s))
    return merged


def _name(
    axes: Axes, words: str, spans: list[tuple[float, float]], from_s: float, to_s: float
) -> None:
    for begins_s, ends_s in spans:
        left_s, right_s = max(begins_s, from_s), min(ends_s, to_s)
        if right_s - left_s > LEAST_PART * (to_s - from_s):
            axes.text(
                (left_s + right_s) / 2, 0.5, words, transform=axes.get_xaxis_transform(),
                ha="center", va="center", fontsize=SMALL, zorder=6,
                bbox={"facecolor": "white", "linewidth": 0, "pad": 1.5},
            )  # fmt: skip
