"""The strip above the plots: stages of the charge, and when the contactor was closed."""

from matplotlib.axes import Axes

from supervisor.report.canvas import SMALL, Format
from supervisor.report.figures import Figures

SHADES = {"bulk": "0.97", "taper": "0.85", "hold": "0.68", "rest": "white"}
UPPER, LOWER, HEIGHT = 1.0, 0.0, 0.8
LEAST_IN = 0.4  # a narrower box has no room for its word


def draw_lanes(axes: Axes, figures: Figures) -> None:
    for stage in figures.stages:
        axes.broken_barh(
            [(stage.from_s, stage.to_s - stage.from_s)], (UPPER, HEIGHT),
            facecolor=SHADES.get(stage.stage, "white"), edgecolor="0.3", linewidth=0.5,
        )  # fmt: skip
    axes.broken_barh(
        [(spell.from_s, spell.length_s) for spell in figures.closed], (LOWER, HEIGHT),
        facecolor="0.25", linewidth=0,
    )  # fmt: skip
    axes.set_ylim(-0.15, 2.0)
    axes.set_yticks([LOWER + HEIGHT / 2, UPPER + HEIGHT / 2], ["closed", "stage"])
    axes.tick_params(length=0)
    axes.grid(visible=False)
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(False)


def name_stages(axes: Axes, figures: Figures, form: Format, from_s: float, to_s: float) -> None:
    """Once it is known what part of them is seen."""
    least_s = LEAST_IN / form.width_in * (to_s - from_s)
    for stage in figures.stages:
        left, right = max(stage.from_s, from_s), min(stage.to_s, to_s)
        if right - left > least_s:
            axes.text(
                (left + right) / 2, UPPER + HEIGHT / 2, stage.stage, ha="center", va="center",
                fontsize=SMALL,
            )  # fmt: skip
