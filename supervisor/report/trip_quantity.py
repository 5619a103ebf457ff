"""What it was that tripped, and how it is drawn with its limit."""

from enum import Enum

import numpy as np
from matplotlib.axes import Axes

from supervisor.protection.wording import amount
from supervisor.report.canvas import FAR, FRONT, draw_band
from supervisor.report.in_force import Line, along, level
from supervisor.report.panels import Panels, flat
from supervisor.report.slopes import slopes
from supervisor.report.trips import Trip

CELL_V_RULES = {
    "overvoltage", "overvoltage_high_set", "undervoltage", "stage_limits", "second_line",
}  # fmt: skip
BOTH_WAYS = {"failed_to_open", "sensing"}  # so much current either way
PER_SECOND = {"V/s": 1.0, "V/min": 60.0, "A/s": 1.0}  # a slope per second, in these units
LEAST_RISE = {"V/s": 0.002, "V/min": 0.02, "A/s": 2.0}


class Quantity(Enum):
    VOLTS = "cell voltages"
    AMPERES = "current"
    DIFFERENCE = "difference of the cells"
    CELSIUS = "temperature"
    RISE = "rise"


def quantity_of(trip: Trip) -> Quantity:
    """Cell voltages where the rule has no figures, or such as no plot shows: hours, charge."""
    if trip.rule == "balance":
        return Quantity.DIFFERENCE
    if trip.unit in PER_SECOND:
        return Quantity.RISE
    return {"A": Quantity.AMPERES, "°C": Quantity.CELSIUS}.get(trip.unit, Quantity.VOLTS)


def draw_quantity(axes: Axes, panels: Panels, quantity: Quantity, trip: Trip) -> None:
    """With the limit that was passed, in the panel of what passed it."""
    limits = _limits(panels, trip) if quantity is quantity_of(trip) else []
    match quantity:
        case Quantity.VOLTS:
            panels.volts(axes, limits)
        case Quantity.AMPERES:
            panels.amperes(axes, limits)
        case Quantity.DIFFERENCE:
            panels.difference(axes)
        case Quantity.CELSIUS:
            panels.celsius(axes, limits)
        case Quantity.RISE:
            _draw_rise(axes, panels, trip, limits)


def mark_measured(axes: Axes, trip: Trip) -> None:
    """Of a difference the rule measures what the current does not explain: no point of the plot."""
    if trip.measured is not None and _limit(trip) and quantity_of(trip) is not Quantity.DIFFERENCE:
        axes.plot(
            trip.at_s, trip.measured, "D", color="black", markersize=4.5, zorder=8,
            linestyle="none", label=f"tripped at {amount(trip.measured, trip.unit)}",
        )  # fmt: skip


def _limits(panels: Panels, trip: Trip) -> list[Line]:
    limit = _limit(trip)
    if limit is None:
        return []
    sides = (limit, -limit) if trip.rule in BOTH_WAYS else (limit,)
    words = f"{trip.title} trips"
    return [
        level(f"{words} {amount(side, trip.unit)}", side, panels.from_s, panels.to_s)
        for side in sides
    ]


def _limit(trip: Trip) -> float | None:
    """Where it can be drawn: the limit of a quantity that the plot shows."""
    quantity = quantity_of(trip)
    is_other = quantity is Quantity.VOLTS and (trip.unit != "V" or trip.rule not in CELL_V_RULES)
    return None if is_other else trip.limit


def _draw_rise(axes: Axes, panels: Panels, trip: Trip, limits: list[Line]) -> None:
    """The slope that the rule reckons, over as many seconds; nothing where those are not known."""
    path = f"protection.{trip.rule}.over_seconds"
    over_s = float(along(panels.spells, path, np.array([trip.at_s]))[0])
    rows, scale = panels.rows, PER_SECOND[trip.unit]
    cells = [("front cell", rows.front_v, FRONT), ("far cell", rows.far_v, FAR)]
    curves = [("current", rows.current_a, FRONT)] if trip.unit == "A/s" else cells
    thins = []
    for name, band, style in curves if over_s > 0 else []:
        thins.append(panels.thin(flat(scale * slopes(rows.at_s, band.mean, over_s))))
        draw_band(axes, thins[-1], style, f"{name}, over {over_s:g} s")
    panels.zoom(axes, thins, limits, LEAST_RISE[trip.unit])
    axes.set_ylabel(f"rise,\n{trip.unit}")
