"""The minute around a trip, in every window that was kept."""

import numpy as np
from markupsafe import Markup
from matplotlib.axes import Axes
from numpy.typing import NDArray

from supervisor.report.canvas import (
    FAR,
    FRONT,
    Style,
    draw_band,
    draw_legend,
    draw_limit,
    look,
    new_figure,
    svg,
)
from supervisor.report.envelope import envelope
from supervisor.report.record import Record
from supervisor.report.series import Band, Floats, Series
from supervisor.report.trips import Trip
from supervisor.report.words import minute, utc

AROUND_S = 30.0
CELL_V_RULES = (
    "overvoltage", "overvoltage_high_set", "undervoltage", "stage_limits", "second_line",
)  # fmt: skip
CURRENT_RULES = ("overcurrent", "stage_limits")
HEIGHT_IN = 3.6


def trip_plot(record: Record, trip: Trip) -> Markup | None:
    """None when nothing was kept of that minute."""
    rows = rows_around(record, trip.at_s)
    if len(rows) == 0:
        return None
    at_s, gaps = rows.at_s - trip.at_s, rows.gap_before()
    with look():
        figure = new_figure(HEIGHT_IN)
        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
        _draw(
            upper, at_s, gaps, (("front cell", rows.front_v, FRONT), ("far cell", rows.far_v, FAR))
        )
        _draw(lower, at_s, gaps, (("current", rows.current_a, FRONT),))
        if trip.limit is not None:
            if trip.unit == "V" and trip.rule in CELL_V_RULES:
                draw_limit(upper, trip.limit, f"limit {trip.limit:.3f} V", (0, (3, 1, 1, 1)))
            if trip.unit == "A" and trip.rule in CURRENT_RULES:
                draw_limit(lower, trip.limit, f"limit {trip.limit:.1f} A", (0, (3, 1, 1, 1)))
        upper.margins(y=0.12)
        lower.margins(y=0.12)
        upper.set_ylabel("cell voltage, V")
        draw_legend(upper, 2)
        lower.set_ylabel("current, A")
        lower.set_xlabel(
            f"seconds from the trip (minute {minute(trip.at_s)} of the session,"
            f" {utc(trip.wall_s)} UTC)"
        )
        lower.set_xlim(-AROUND_S, AROUND_S)
        figure.suptitle(
            f"{record.session.bank}, {record.name}, trip {trip.number}: {trip.title}",
            fontsize=8, x=0.01, ha="left",
        )  # fmt: skip
        says = f"Cell voltages and current, 30 s before and after trip {trip.number}"
        return svg(figure, says=says, is_simulated=record.session.is_simulated)


def rows_around(record: Record, at_s: float) -> Series:
    """Windows where they were kept, else the finest there is."""
    windows = record.close_ups.between(at_s - AROUND_S, at_s + AROUND_S)
    return windows if len(windows) else record.series.between(at_s - AROUND_S, at_s + AROUND_S)


def _draw(
    axes: Axes, at_s: Floats, gaps: NDArray[np.bool_], curves: tuple[tuple[str, Band, Style], ...]
) -> None:
    for label, band, style in curves:
        draw_band(axes, envelope(at_s, band, gaps), style, label)
    axes.axvline(0.0, color="black", linewidth=1.0, linestyle=(0, (5, 2)))
