"""The story of a trip: rule, figures, opening, remedy, reset."""

from dataclasses import replace

import pytest
from cycles import cycle
from ended_charges import CLOSED_S

from supervisor.control.permission import Permission
from supervisor.protection.decision import Protection
from supervisor.protection.verdict import Verdict
from supervisor.readings import Quality
from supervisor.report.record import Event, Record
from supervisor.report.timeline import Stamp, Timeline
from supervisor.report.trip_plot import rows_around, trip_plot
from supervisor.report.trips import Trip, find_trips
from supervisor.settings.model import SupervisorSettings


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
    assert (trip.title, trip.against) == ("stop button, power cut or kill", "")
    assert trip.reason == "stop"
    assert trip.protects.startswith("stop button, power cut or kill. It protects: ")
    assert trip.how_reset == "not reset within this session"


def test_the_closing_is_where_it_was(tripped: Record) -> None:
    assert tripped.events[0].code == "closed"
    assert tripped.session.began_wall_s == pytest.approx(1_780_000_000 + CLOSED_S)


# --- by doubt: nothing was known, and no limit was seen to be passed


def told_of(verdict: Verdict, *, is_old: bool) -> Trip:
    """As the guard records it; an older record has no flag for doubt."""
    flag = {} if is_old else {"by_doubt": verdict.by_doubt}
    text = f"{verdict.rule}: {verdict.reason}"
    data = {"rule": verdict.rule, "measured": verdict.measured, "limit": verdict.limit}
    (trip,) = find_trips([event(1, "trip", text, **data, unit=verdict.unit, **flag)])
    return trip


def doubted(settings: SupervisorSettings) -> Verdict:
    """Windows with too few readings, for longer than permission lasts."""
    protection = Protection(settings)
    protection.rules = [rule for rule in protection.rules if rule.key == "overvoltage"]
    for at_s in (10.0, 10.2, 10.4, 10.6):
        trip = protection.judge(cycle(at_s, far=Quality.TOO_FEW), at_s).trip
    assert trip is not None
    return trip


@pytest.mark.parametrize("is_old", [False, True])
def test_a_trip_by_doubt_says_that_nothing_was_known(
    hut_settings: SupervisorSettings, is_old: bool
) -> None:
    trip = told_of(doubted(hut_settings), is_old=is_old)
    assert trip.is_doubt
    assert trip.title == "nothing was known (overvoltage could not tell)"
    assert trip.against == "", "3.400 V against 3.600 V would read like a limit that was passed"


@pytest.mark.parametrize("is_old", [False, True])
def test_permission_that_ran_out_is_a_doubt(is_old: bool) -> None:
    trip = told_of(Permission(None, 0.4).trip(), is_old=is_old)  # type: ignore[arg-type]
    assert trip.title == "nothing was known (stale could not tell)"
    assert trip.against == ""


def test_a_limit_that_was_passed_is_no_doubt(tripped: Record) -> None:
    (trip,) = find_trips(tripped.events)
    assert not trip.is_doubt


@pytest.mark.parametrize(("measured", "against"), [(0.025, ""), (0.31, "0.310 s against 0.200 s")])
def test_a_time_within_its_limit_is_not_what_tripped(measured: float, against: str) -> None:
    """Of loop_overrun a count trips as well; of sensing and stale, time lost again and again."""
    data = {"rule": "loop_overrun", "measured": measured, "limit": 0.2, "unit": "s"}
    (trip,) = find_trips([event(1, "trip", "loop_overrun: late", **data)])
    assert trip.against == against


@pytest.mark.parametrize("odd", [None, "3.6", [3.6], float("nan"), float("inf"), True, {"a": 1}])
def test_odd_figures_of_a_trip_are_left_out(odd: object) -> None:
    data = {"rule": odd, "measured": odd, "limit": odd, "unit": odd, "remedy": odd}
    opening = event(1, "opening", outcome=odd, opened_in_s=odd)
    (trip,) = find_trips([event(1, "trip", "too high", **data), opening])
    assert trip.against == ""
    assert trip.reason == "too high"
    assert isinstance(trip.how_opened, str)


# --- an end that nobody saw


def two_runs(away_s: float) -> Timeline:
    """A run of 50 s, and one found so many seconds after its end."""
    wall_s = 1_780_000_000.0
    return Timeline(
        Stamp(run, mono_s, wall_s + at_s)
        for run, mono_s, at_s in (
            (1, 0.0, 0.0), (1, 50.0, 50.0), (2, 1.0, 50.0 + away_s), (2, 9.0, 58.0 + away_s)
        )
    )  # fmt: skip


@pytest.mark.parametrize(("code", "run"), [("unseen_end", 1), ("locked_out_at_start", 2)])
def test_an_end_that_nobody_saw_lies_between_two_signs_of_life(code: str, run: int) -> None:
    """Dated to the last one, whether the journal says so or only the start that found it."""
    found = replace(event(9, code, "power cut"), run=run)
    (trip,) = find_trips([found], two_runs(away_s=100.0))
    assert trip.at_s == 50.0
    assert "between minute 0.83 (2026-05-28 20:27:30 UTC, the last sign of life" in trip.when
    assert trip.when.endswith("and 2026-05-28 20:29:10 UTC, the next start, 100 s later")


def test_a_clock_that_cannot_tell_gives_no_length() -> None:
    found = replace(event(9, "locked_out_at_start", "power cut"), run=2)
    (trip,) = find_trips([found], two_runs(away_s=-1e6))
    assert trip.when.endswith("how long that was, the clock cannot tell")


def test_an_unseen_end_and_the_start_that_found_it_are_one_story() -> None:
    events = [event(1, "unseen_end", "power cut"), event(2, "locked_out_at_start", "power cut")]
    assert len(find_trips(events)) == 1


# --- a lockout found at a start, of a run that ended with words


def test_a_lockout_of_a_run_that_ended_with_words_is_told_as_one_found() -> None:
    """Its trip came into no record: when it tripped, and whether it was closed, is not known."""
    text = "overvoltage: 3.612 V at the front cell"
    found = event(4, "locked_out_at_start", text, ended_unseen=False, remedy="look at the cells")
    (trip,) = find_trips([event(1, "closed"), replace(found, run=2)], two_runs(away_s=100.0))
    assert trip.is_found_locked
    assert not trip.is_unseen_end
    assert trip.title == "found locked out at a start"
    assert (trip.reason, trip.remedy) == (text, "look at the cells")
    assert trip.how_opened == "not known"
    assert "without a word" not in trip.when


@pytest.mark.parametrize("data", [{}, {"ended_unseen": True}, {"ended_unseen": "odd"}])
def test_a_lockout_found_at_a_start_is_an_unseen_end_where_nothing_else_is_told(
    data: dict[str, object],
) -> None:
    (trip,) = find_trips([event(1, "closed"), event(4, "locked_out_at_start", "cut", **data)])
    assert trip.is_unseen_end
