"""The story of a trip: rule, figures, opening, remedy, reset."""

from dataclasses import replace

import pytest
from ended_charges import CLOSED_S

from supervisor.report.record import Event, Record
from supervisor.report.trip_plot import rows_around, trip_plot
from supervisor.report.trips import find_trips


def event(minute: float, code: str, text: str = "", **data: object) -> Event:
    return Event(60 * minute, 0.0, 1, code, text, data)


def test_the_story_of_one(tripped: Record) -> None:
    (trip,) = find_trips(tripped.events)
    assert trip.title == "overvoltage"
    assert trip.reason == "too high"
    assert trip.against == "3.6004 V against 3.600 V"
    assert trip.how_opened == "confirmed in 243 ms"
    assert trip.remedy == "measure both cells by hand"
    assert trip.how_reset == "by Anna at minute 3.2: cells sound"
    assert trip.at_s == pytest.approx(100.0)


def test_the_minute_around_it_has_every_window(tripped: Record) -> None:
    rows = rows_around(tripped, 100.0)
    assert set(rows.span_s) == {0.1}
    assert len(rows) == pytest.approx(600, abs=3)
    assert rows.at_s[0] == pytest.approx(70.0, abs=0.15)


def test_a_minute_that_was_not_kept_close_is_drawn_from_seconds(tripped: Record) -> None:
    coarse = replace(tripped, close_ups=tripped.close_ups[:0])
    assert set(rows_around(coarse, 100.0).span_s) == {1.0}


def test_nothing_is_drawn_of_a_minute_without_rows(tripped: Record) -> None:
    (trip,) = find_trips(tripped.events)
    assert trip_plot(tripped, replace(trip, at_s=1e6)) is None


def test_a_restart_that_finds_the_lockout_again_is_no_second_trip() -> None:
    trips = find_trips([event(1, "trip"), event(2, "locked_out_at_start"), event(3, "reset")])
    assert [trip.is_unseen_end for trip in trips] == [False]


def test_an_end_without_a_word_is_a_story_of_its_own() -> None:
    trips = find_trips(
        [event(1, "trip"), event(2, "reset"), event(3, "closed"), event(4, "locked_out_at_start")]
    )
    assert [(trip.number, trip.is_unseen_end) for trip in trips] == [(1, False), (2, True)]


def test_the_opening_of_another_closing_is_not_taken_for_its_own() -> None:
    later = event(3, "opening", outcome="confirmed", opened_in_s=0.2)
    (trip,) = find_trips([event(1, "trip"), event(2, "closed"), later])
    assert trip.how_opened == "not recorded"


def test_a_trip_of_an_open_circuit_opened_nothing() -> None:
    (trip,) = find_trips([event(1, "trip", was_closed=False)])
    assert trip.how_opened == "was open already"


def test_a_rule_without_figures_shows_none() -> None:
    (trip,) = find_trips([event(1, "trip", "external: stop", rule="external", unit="")])
    assert (trip.against, trip.reason) == ("", "stop")
    assert trip.how_reset == "not reset within this session"


def test_the_closing_is_where_it_was(tripped: Record) -> None:
    assert tripped.events[0].code == "closed"
    assert tripped.session.began_wall_s == pytest.approx(1_780_000_000 + CLOSED_S)
