"""The minute around a trip, in every window that was kept, with what tripped on top."""

from dataclasses import dataclass

from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from supervisor.report.canvas import Format, draw_legend, drawn
from supervisor.report.in_force import in_force
from supervisor.report.panels import Panels
from supervisor.report.record import Record
from supervisor.report.series import Series
from supervisor.report.trip_quantity import (
    Quantity,
    draw_quantity,
    mark_measured,
    quantity_of,
)
from supervisor.report.trips import Trip
from supervisor.report.words import minute, utc

AROUND_S, TICK_S = 30, 10
FIRST_IN, OTHERS_IN, ROUND_IN = 1.7, 1.0, 1.0


@dataclass(frozen=True, slots=True)
class _Scene:
    record: Record
    trip: Trip
    rows: Series
    quantities: tuple[Quantity, ...]


def trip_plot(record: Record, trip: Trip) -> Markup | None:
    """None when nothing was kept of that minute."""
    rows = rows_around(record, trip.at_s)
    if len(rows) == 0:
        return None
    first = quantity_of(trip)
    others = [q for q in (Quantity.VOLTS, Quantity.AMPERES) if q is not first]
    scene = _Scene(record, trip, rows, (first, *others))
    names = ", ".join(quantity.value for quantity in scene.quantities)
    return drawn(
        lambda form: _figure(scene, form),
        says=f"{names[0].upper()}{names[1:]}: 30 s before and after trip {trip.number}",
        is_simulated=record.session.is_simulated,
    )


def rows_around(record: Record, at_s: float) -> Series:
    """Windows where they were kept, else the finest there is."""
    windows = record.close_ups.between(at_s - AROUND_S, at_s + AROUND_S)
    return windows if len(windows) else record.series.between(at_s - AROUND_S, at_s + AROUND_S)


def _figure(scene: _Scene, form: Format) -> Figure:
    record, trip = scene.record, scene.trip
    heights_in = [FIRST_IN] + [OTHERS_IN] * (len(scene.quantities) - 1)
    title = f"{record.session.bank}, {record.name}, trip {trip.number}: {trip.title}"
    figure = form.figure(sum(heights_in) + ROUND_IN, title)
    stack = figure.subplots(len(heights_in), 1, sharex=True, height_ratios=heights_in)
    spells = in_force(record)
    panels = Panels(record, scene.rows, spells, form, trip.at_s - AROUND_S, trip.at_s + AROUND_S)
    for axes, quantity in zip(stack, scene.quantities, strict=True):
        draw_quantity(axes, panels, quantity, trip)
        axes.axvline(trip.at_s, color="black", linewidth=1.0, linestyle=(0, (5, 2)))
    mark_measured(stack[0], trip)
    for axes in stack:
        draw_legend(axes, form)
    figure.align_ylabels(stack)
    _name_seconds(stack[-1], trip)
    return figure


def _name_seconds(axes: Axes, trip: Trip) -> None:
    seconds = range(-AROUND_S, AROUND_S + 1, TICK_S)
    axes.set_xlim(trip.at_s - AROUND_S, trip.at_s + AROUND_S)
    axes.set_xticks([trip.at_s + s for s in seconds], [str(s) for s in seconds])
    axes.set_xlabel(f"seconds from the trip\n(minute {minute(trip.at_s)}, {utc(trip.wall_s)} UTC)")
