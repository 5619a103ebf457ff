"""The limits that stand in the plots, each where it was in force."""

from collections.abc import Sequence

from supervisor.report.in_force import InForce, Line, lines
from supervisor.report.record import Curve, Record
from supervisor.report.settings_told import at
from supervisor.report.sound import text

PLACES = (
    ("heat_sink", "heat_sink_above_celsius", "heat sink trips above"),
    ("transformer", "transformer_above_celsius", "transformer trips above"),
    ("cells", "cells_above_celsius", "cells trip above"),
    ("cells", "cells_below_celsius", "cells trip below"),
)


def voltage_limits(spells: Sequence[InForce]) -> list[Line]:
    return [
        *lines(spells, "bank.never_above_volts", "the maker's limit", ".3f V"),
        *lines(spells, "protection.overvoltage.trip_volts", "overvoltage trips", ".3f V"),
        *lines(spells, "charge.hold_volts", "to hold at most", ".3f V"),
    ]


def current_limits(spells: Sequence[InForce]) -> list[Line]:
    return [
        *lines(spells, "protection.overcurrent.trip_amperes", "overcurrent trips", ".1f A"),
        *lines(spells, "charge.full.end_amperes", "full below", ".1f A"),
    ]


def temperature_limits(record: Record, spells: Sequence[InForce]) -> list[Line]:
    """Of the places that have a probe."""
    fitted = {place_of(record, curve) for curve in record.temperatures}
    return [
        line
        for place, key, words in PLACES
        if place in fitted
        for line in lines(spells, f"protection.temperature.{key}", words, ".1f °C")
    ]


def place_of(record: Record, curve: Curve) -> str:
    """What its probe is fixed to, as the settings name it; empty where they do not tell."""
    return text(at(record.session.settings, f"probes.{curve.name}.place"))


def rest_limits(spells: Sequence[InForce]) -> list[Line]:
    return [
        *lines(spells, "charge.rest.highest_volts", "rests at most at", ".3f V"),
        *lines(spells, "charge.rest.lowest_volts", "rests at least at", ".3f V"),
    ]


def spread_limits(spells: Sequence[InForce]) -> list[Line]:
    """Of a rest, in mV, either way."""
    found = lines(spells, "charge.rest.spread_volts", "may differ at rest by", ".3f V")
    return [Line(one.words, one.at_s, mv * one.values) for one in found for mv in (1000, -1000)]
