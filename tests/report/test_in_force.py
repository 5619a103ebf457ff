"""Limits along the axis: another profile brings others, and they hold from there on only."""

from dataclasses import replace

import numpy as np
import pytest

from supervisor.report.in_force import InForce, along, in_force, level, lines
from supervisor.report.record import Event, Record

TRIP = "protection.overcurrent.trip_amperes"


def chosen(charge: Record, *changes: tuple[float, str]) -> Record:
    """With these profiles in force from these seconds on."""
    events = [Event(at_s, 0.0, 1, "profile", name, {"profile": name}) for at_s, name in changes]
    both = sorted((*charge.events, *events), key=lambda event: event.at_s)
    return replace(charge, events=tuple(both))


def test_without_a_change_one_spell_covers_all(charge: Record) -> None:
    (spell,) = in_force(charge)
    assert (spell.from_s, spell.to_s) == (0.0, charge.timeline.ends_s)
    assert spell.settings == charge.session.settings


def test_a_profile_brings_its_limits_from_there_on(charge: Record) -> None:
    """The hut's small supply trips at 12 A, the big one at 130 A."""
    spells = in_force(chosen(charge, (200.0, "final_hold")))
    values = along(spells, TRIP, np.array([0.0, 199.9, 200.0, 400.0]))
    assert values.tolist() == [130.0, 130.0, 12.0, 12.0]
    big, small = lines(spells, TRIP, "overcurrent trips", ".1f A")
    assert (big.words, small.words) == ("overcurrent trips 130.0 A", "overcurrent trips 12.0 A")
    assert big.values[:2].tolist() == [130.0, 130.0]
    assert np.isnan(big.values[2:]).all()
    assert np.isnan(small.values[:2]).all()


def test_a_value_that_comes_back_is_one_line_with_a_gap(charge: Record) -> None:
    record = chosen(charge, (100.0, "final_hold"), (200.0, "bank"))
    big, _small = lines(in_force(record), TRIP, "overcurrent trips", ".1f A")
    assert np.isnan(big.values).tolist() == [False, False, True, True, False, False]


def test_nothing_is_drawn_of_a_profile_that_nobody_knows(charge: Record) -> None:
    """Wrong limits would be worse than none."""
    spells = in_force(chosen(charge, (200.0, "of_another_house")))
    assert np.isnan(along(spells, TRIP, np.array([300.0]))).all()
    (line,) = lines(spells, TRIP, "overcurrent trips", ".1f A")
    assert np.isnan(line.values[2:]).all()


@pytest.mark.parametrize("value", [None, "many", True, float("nan")])
def test_a_limit_that_is_no_number_is_no_line(value: object) -> None:
    assert lines([InForce(0.0, 1.0, {"a": {"b": value}})], "a.b", "x", ".1f V") == []


def test_a_level_goes_from_end_to_end() -> None:
    assert level("x", 3.0, 1.0, 2.0).values.tolist() == [3.0, 3.0]
