"""An axis enlarged on what was measured, and its limits: as lines, or named at the edge."""

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from supervisor.report.canvas import LETTERS_AN_INCH, LINE, SMALL, Stroke
from supervisor.report.in_force import Line
from supervisor.report.series import Floats

STROKES: tuple[Stroke, ...] = ("-", (0, (6, 2)), (0, (3, 1, 1, 1)), (0, (1, 1.5)))
REACH = 0.5  # a limit is shown when it is so near, as a part of what was measured
WORDS_PT = 11.0  # a row of words, and the room about it
ROW_PT = 13.0  # beside the outermost line: its words
BESIDE_IN = 0.8  # left of the axis
NOTHING = (0.0, 1.0)
NO_BREAK = "\N{NO-BREAK SPACE}"
BEHIND_WORDS = {"boxstyle": "square,pad=0.1", "facecolor": "white", "alpha": 0.7, "linewidth": 0}


def enlarge(
    axes: Axes, measured: Iterable[Floats], lines: Sequence[Line], *, least: float, from_s: float,
    to_s: float,
) -> None:  # fmt: skip
    """``least``: the smallest height of the axis, lest noise fills it. Nothing measured: all."""
    seen = [line for line in (_within(line, from_s, to_s) for line in lines) if line.is_known]
    low, high = _range(measured) or _range(line.values for line in seen) or NOTHING
    reach = REACH * max(high - low, least)
    near = [v for line in seen for v in line.values if low - reach <= v <= high + reach]
    low, high = min([low, *near]), max([high, *near])
    room = max(_row_part(axes) * (high - low), (least - (high - low)) / 2)
    low, high = low - room, high + room
    above = [line for line in seen if line.lowest > high]
    below = [line for line in seen if line.highest < low]
    rows_above, rows_below = _words(axes, "↑", above), _words(axes, "↓", below)
    row = _row_part(axes) * (high - low)
    axes.set_ylim(low - row * len(rows_below), high + row * len(rows_above))
    _draw(axes, [line for line in seen if line not in above and line not in below])
    _name_beyond(axes, rows_above, is_top=True)
    _name_beyond(axes, rows_below, is_top=False)


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """What of a line is seen: its points, and where it comes in and goes out."""

    words: str
    at_s: Floats
    values: Floats

    @property
    def is_known(self) -> bool:
        return bool(np.isfinite(self.values).any())

    @property
    def lowest(self) -> float:
        return float(np.nanmin(self.values))

    @property
    def highest(self) -> float:
        return float(np.nanmax(self.values))


def _within(line: Line, from_s: float, to_s: float) -> _Seen:
    inside = (line.at_s > from_s) & (line.at_s < to_s)
    begin, end = np.interp([from_s, to_s], line.at_s, line.values, left=np.nan, right=np.nan)
    return _Seen(
        line.words,
        np.concatenate(([from_s], line.at_s[inside], [to_s])),
        np.concatenate(([begin], line.values[inside], [end])),
    )


def _range(values: Iterable[Floats]) -> tuple[float, float] | None:
    known = [v[np.isfinite(v)] for v in values]
    together = np.concatenate(known) if known else np.empty(0)
    return (float(together.min()), float(together.max())) if len(together) else None


def _row_part(axes: Axes) -> float:
    """Of the height, about: the layout is not known yet. For a row of words."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    return ROW_PT / float(axes.get_position().height * figure.get_figheight() * 72)


def _words(axes: Axes, arrow: str, lines: Sequence[_Seen]) -> list[str]:
    """Of what lies beyond an edge, in rows; none is broken within its words."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    letters = round(LETTERS_AN_INCH * (figure.get_figwidth() - BESIDE_IN))
    told = ", ".join(line.words.replace(" ", NO_BREAK) for line in lines)
    rows = textwrap.wrap(f"{arrow}{NO_BREAK}{told}", letters) if told else []
    return [row.replace(NO_BREAK, " ") for row in rows]


def _draw(axes: Axes, lines: Sequence[_Seen]) -> None:
    """Neighbours are named at different ends; what holds at one end only, there. Words that would
    cover others stand above them."""
    names = []
    for k, line in enumerate(lines):
        axes.plot(line.at_s, line.values, linestyle=STROKES[k % len(STROKES)], **LINE)
        begins, ends = np.isfinite(line.values[[0, -1]])
        is_left = bool(begins if begins != ends else k % 2 == 0)
        at = np.flatnonzero(np.isfinite(line.values))[0 if is_left else -1]
        names.append((float(line.values[at]), float(line.at_s[at]), is_left, line.words))
    low, high = axes.get_ylim()
    row_pt = {True: -np.inf, False: -np.inf}  # where the words on each side end
    for value, at_s, is_left, words in sorted(names):
        place_pt = ROW_PT / _row_part(axes) * (value - low) / (high - low)
        raised_pt = max(0.0, row_pt[is_left] - place_pt)
        row_pt[is_left] = place_pt + raised_pt + WORDS_PT
        _name(axes, words, (at_s, value), raised_pt, is_left=is_left)


def _name(
    axes: Axes, words: str, at: tuple[float, float], raised_pt: float, *, is_left: bool
) -> None:
    axes.annotate(
        words, at,
        xytext=(3 if is_left else -3, 2 + raised_pt), textcoords="offset points", fontsize=SMALL,
        ha="left" if is_left else "right", va="bottom", zorder=7, bbox=BEHIND_WORDS,
    )  # fmt: skip


def _name_beyond(axes: Axes, rows: Sequence[str], *, is_top: bool) -> None:
    away = -2 if is_top else 2
    axes.annotate(
        "\n".join(rows), (0.0, 1.0 if is_top else 0.0), xycoords="axes fraction",
        xytext=(4, away), textcoords="offset points", fontsize=SMALL,
        va="top" if is_top else "bottom", zorder=7,
    )  # fmt: skip
