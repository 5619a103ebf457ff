"""Full or not, and why: by how the last closing ended."""

from dataclasses import replace

import pytest

from supervisor.report.figures import figures_of
from supervisor.report.record import Event, Record
from supervisor.report.verdict import Verdict, judge


def verdict(charge: Record, *told: tuple[str, str], rule: str = "overvoltage") -> Verdict:
    """Of events one minute apart; trips by this rule."""
    data = {"rule": rule}
    events = tuple(Event(60.0 * k, 0.0, 1, code, text, data) for k, (code, text) in enumerate(told))
    record = replace(charge, events=events)
    return judge(record, figures_of(record))


CLOSED, FINISHED = ("closed", "closed, asked by Anna"), ("finished", "full: held at 3.54 V")
OPENED, TRIP = ("opened", "opened, asked by Anna"), ("trip", "overvoltage: too high")
RESET, PASSED = ("reset", "reset by Anna"), ("rest", "rest check passed")


def test_full_says_why_and_when(charge: Record) -> None:
    said = verdict(charge, CLOSED, FINISHED, PASSED)
    assert (said.is_full, said.word, said.rest) == (True, "FULL", "passed")
    assert said.why == "held at 3.54 V (opened by itself, minute 1.0)"


def test_a_finished_circuit_that_is_opened_stays_full(charge: Record) -> None:
    assert verdict(charge, CLOSED, FINISHED, OPENED).is_full


def test_a_rest_that_was_not_watched_to_its_end_is_no_pass(charge: Record) -> None:
    said = verdict(charge, CLOSED, FINISHED)
    assert said.rest == "not ended: nothing can be said of it yet"


def test_a_rest_check_of_an_earlier_full_does_not_count(charge: Record) -> None:
    said = verdict(charge, CLOSED, FINISHED, PASSED, OPENED, CLOSED, FINISHED)
    assert said.rest == "not ended: nothing can be said of it yet"


def test_a_failed_rest_check_says_what_was_found(charge: Record) -> None:
    said = verdict(charge, CLOSED, FINISHED, ("rest", "rest check failed: falls too fast"))
    assert said.rest == "failed: falls too fast"
    assert said.word == "FULL, BUT THE REST CHECK FAILED"


@pytest.mark.parametrize(
    ("last", "why"),
    [
        (TRIP, "ended by a trip: overvoltage: too high (minute 1.0)"),
        (OPENED, "opened, asked by Anna (minute 1.0)"),
        (("ended", "ended, the circuit is open"), "ended, the circuit is open (minute 1.0)"),
        (("locked_out_at_start", "power cut"), "ended without a word: power cut"),
        (
            ("unseen_end", "the last run ended without a word: x"),
            "the last run ended without a word: x",
        ),
    ],
)
def test_not_full_says_why(charge: Record, last: tuple[str, str], why: str) -> None:
    said = verdict(charge, CLOSED, last)
    assert (said.word, said.why, said.rest) == ("NOT FULL", why, None)


def test_closed_again_after_full_is_under_way(charge: Record) -> None:
    said = verdict(charge, CLOSED, FINISHED, OPENED, CLOSED)
    assert said.word == "NOT FULL YET"
    assert said.why.startswith(
        "still under way when this report was made: closed (minute 3.0); the record goes to minute"
        " 7.3"
    )


def test_between_two_pulses_it_is_under_way(charge: Record) -> None:
    said = verdict(charge, CLOSED, ("paused", "opened, pulse 1"))
    assert said.word == "NOT FULL YET"
    assert "under way when this report was made: opened, pulse 1 (minute 1.0)" in said.why


@pytest.mark.parametrize("last", [CLOSED, ("paused", "opened, pulse 1")])
def test_what_was_ended_is_not_under_way(charge: Record, last: tuple[str, str]) -> None:
    ended = replace(charge, session=replace(charge.session, ended_wall_s=1_780_000_000.0))
    said = verdict(ended, CLOSED, last)
    assert said.word == "NOT FULL"
    assert "under way" not in said.why


def test_a_reset_and_what_happens_while_open_change_nothing(charge: Record) -> None:
    said = verdict(charge, CLOSED, TRIP, RESET, OPENED, ("locked_out_at_start", "x"))
    assert said.why == "ended by a trip: overvoltage: too high (minute 1.0)"


def test_full_by_a_pulsed_hold(charge: Record) -> None:
    pulses = (("paused", "opened, pulse 1"), ("resumed", "closed again"), ("paused", "opened"))
    assert verdict(charge, CLOSED, *pulses, FINISHED).is_full


def test_without_events_nothing_is_claimed(charge: Record) -> None:
    assert verdict(charge).word == "NOT KNOWN"


def test_full_but_it_did_not_open_is_not_full(charge: Record) -> None:
    failed = ("trip", "failed_to_open: current still flows")
    said = verdict(charge, CLOSED, FINISHED, failed, rule="failed_to_open")
    assert not said.is_full
    assert "it did not open" in said.why


def test_a_run_that_ended_with_words_is_not_said_to_have_ended_without(charge: Record) -> None:
    """Only the start that found it locked out came into the record."""
    at_start = Event(
        500.0, 0.0, 1, "locked_out_at_start", "overvoltage: 3.612 V", {"ended_unseen": False}
    )
    record = replace(charge, events=(charge.events[0], at_start))
    figures = figures_of(record)
    why = judge(record, figures).why
    assert why == "found locked out at a start (minute 8.3): overvoltage: 3.612 V"
    assert not figures.has_unseen_end
    assert not figures.charge.is_whole, "what came after the last record of it is not in it"
    assert not figures.unseen
