"""The plot of a trip shows the quantity that tripped, on top, with its limit drawn and named."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from drawings import drawings, said, texts

from supervisor.report.figures import figures_of
from supervisor.report.record import Curve, Record
from supervisor.report.trip_plot import trip_plot
from supervisor.report.trip_quantity import Quantity, quantity_of
from supervisor.report.trips import Trip

# Rule, unit, measured and limit as the rules give them; the panel on top, and the limit's words.
TRIPS = [
    ("overvoltage", "V", 3.604, 3.6, Quantity.VOLTS, "overvoltage trips 3.600 V"),
    ("overvoltage_high_set", "V", 3.64, 3.63, Quantity.VOLTS, "high set trips 3.630 V"),
    ("undervoltage", "V", 2.1, 2.5, Quantity.VOLTS, "undervoltage trips 2.500 V"),
    ("stage_limits", "V", 3.59, 3.58, Quantity.VOLTS, "stage limits trips 3.580 V"),
    ("stage_limits", "A", 61.0, 60.0, Quantity.AMPERES, "stage limits trips 60.0 A"),
    ("second_line", "V", 3.65, 3.64, Quantity.VOLTS, "second line trips 3.640 V"),
    ("overcurrent", "A", 168.0, 130.0, Quantity.AMPERES, "overcurrent trips 130.0 A"),
    ("overcurrent_inverse", "A", 120.0, 115.0, Quantity.AMPERES, "inverse trips 115.0 A"),
    ("reverse_current", "A", -4.0, -3.0, Quantity.AMPERES, "reverse current trips -3.0 A"),
    ("failed_to_open", "A", 20.0, 3.0, Quantity.AMPERES, "failed to open trips 3.0 A"),
    ("balance", "V", 0.056, 0.05, Quantity.DIFFERENCE, "balance trips 50 mV above expected"),
    ("temperature", "°C", 83.0, 80.0, Quantity.CELSIUS, "temperature trips 80.0 °C"),
    ("rate_of_rise", "V/min", 0.077, 0.06, Quantity.RISE, "rate of rise trips 0.060 V/min"),
    ("knob_speed", "A/s", 25.9, 15.0, Quantity.RISE, "knob speed trips 15.0 A/s"),
    ("knob_speed", "V/s", 0.02, 0.01, Quantity.RISE, "knob speed trips 0.010 V/s"),
]
LABELS = {
    Quantity.VOLTS: "cell voltage,", Quantity.AMPERES: "current,", Quantity.RISE: "rise,",
    Quantity.DIFFERENCE: "difference,", Quantity.CELSIUS: "temperature,",
}  # fmt: skip
HEAT = Curve("sink", np.arange(0.0, 210.0, 10.0), np.arange(20.0, 83.0, 3.0))


def trip_of(record: Record, **changes: Any) -> Trip:
    (trip,) = figures_of(record).trips
    return replace(trip, **changes)


def drawn(record: Record, trip: Trip) -> str:
    plot = trip_plot(replace(record, temperatures=(HEAT,)), trip)
    assert plot is not None
    return str(plot)


@pytest.mark.parametrize(("rule", "unit", "measured", "limit", "quantity", "words"), TRIPS)
def test_what_tripped_is_on_top_with_its_limit(
    tripped: Record, rule: str, unit: str, measured: float, limit: float, quantity: Quantity,
    words: str,
) -> None:  # fmt: skip
    """A temperature's trip showed voltages."""
    trip = trip_of(tripped, rule=rule, unit=unit, measured=measured, limit=limit)
    assert quantity_of(trip) is quantity
    for drawing in drawings(drawn(tripped, trip)).values():
        found = texts(drawing)
        labels = [text for text in found if text in LABELS.values()]
        assert labels[0] == LABELS[quantity]
        assert {"cell voltage,", "current,"} <= {*labels}
        assert words in " ".join(found).replace(",", " ")


@pytest.mark.parametrize("rule", ["external", "stale", "session_time", "supply_thermal"])
def test_a_rule_without_such_a_quantity_shows_cells_and_current(tripped: Record, rule: str) -> None:
    """Hours, percent of heat, age of a reading: no panel has their axis."""
    units = {"stale": "s", "session_time": "h", "supply_thermal": "%"}
    trip = trip_of(tripped, rule=rule, unit=units.get(rule, ""), measured=1.0, limit=1.0)
    words = said(drawn(tripped, trip))
    assert "cell voltage," in words
    assert " trips " not in words
    assert "tripped at" not in words


def test_what_it_tripped_at_is_marked(tripped: Record) -> None:
    assert "tripped at 3.600 V" in said(drawn(tripped, trip_of(tripped)))


def test_a_rise_whose_seconds_are_not_known_is_a_limit_alone(tripped: Record) -> None:
    record = replace(tripped, session=replace(tripped.session, settings={}))
    trip = trip_of(tripped, rule="rate_of_rise", unit="V/min", measured=0.07, limit=0.06)
    words = said(drawn(record, trip))
    assert "rate of rise trips 0.060 V/min" in words
    assert "over " not in words
