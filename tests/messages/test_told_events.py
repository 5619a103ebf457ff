"""What the journal's events have to tell: each thing once, with all that belongs to it."""

from pathlib import Path

import pytest
from message_bench import Bench


def test_history_is_not_told_on_the_first_start(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.journal.begin()
    bench.journal.trip()
    bench.tick(30)
    assert bench.titles == []
    bench.journal.trip(reason="another")
    bench.tick(2)
    assert bench.titles == ["TRIP overvoltage"]


def test_nor_is_a_lockout_that_stood_before_the_first_start(bench: Bench) -> None:
    bench.journal.trip(reason="too high")
    (bench.folder / "messages.json").unlink()
    bench.restart()
    bench.tick(5)
    bench.journal.begin()
    bench.journal.tell("locked_out_at_start", "too high")
    bench.tick(5)
    assert bench.titles == []


def test_where_there_is_no_journal_yet_all_of_it_is_news(bench: Bench) -> None:
    bench.journal.close()
    for part in bench.folder.glob("*"):
        part.unlink()
    bench.restart()
    bench.tick()
    bench.journal.begin()
    bench.journal.trip()
    bench.tick(2)
    assert bench.titles == ["TRIP overvoltage"]


def test_a_trip_waits_a_moment_for_how_it_opened(bench: Bench) -> None:
    bench.journal.trip(was_closed=True)
    bench.tick(2)
    assert bench.titles == []
    bench.journal.tell("opening", outcome="confirmed", opened_in_s=0.042)
    bench.tick(2)
    assert bench.titles == ["TRIP overvoltage"]
    assert "seen to open in 42 ms" in bench.targets.arrived[0].body


def test_but_not_for_long_and_what_follows_is_told_as_well(bench: Bench) -> None:
    bench.journal.trip(was_closed=True)
    bench.tick(8)
    assert bench.titles == ["TRIP overvoltage"]
    assert "not known yet whether it opened" in bench.targets.arrived[0].body
    bench.journal.tell("opening", outcome="failed", opened_in_s=None)
    bench.tick(2)
    assert bench.titles == ["TRIP overvoltage", "DID NOT OPEN"]


def test_one_message_tells_of_a_trip_that_did_not_open(bench: Bench) -> None:
    bench.journal.trip(was_closed=True)
    bench.journal.tell("opening", outcome="failed", opened_in_s=None)
    bench.tick(30)
    assert bench.titles == ["DID NOT OPEN after trip overvoltage"]


def test_one_message_tells_of_an_opening_by_hand_that_failed(bench: Bench) -> None:
    bench.journal.tell("opened", "opened, asked by the warden")
    bench.journal.trip("failed_to_open", "118.4 A flow")
    bench.journal.tell("opening", outcome="failed", opened_in_s=None)
    bench.tick(30)
    assert bench.titles == ["FAILED TO OPEN", "opened"]


def test_an_opening_that_nobody_could_see_is_told(bench: Bench) -> None:
    bench.journal.tell("opened", "opened, asked by the warden")
    bench.journal.tell("opening", outcome="not confirmed", opened_in_s=None)
    bench.tick(3)
    assert bench.titles == ["NOT SEEN TO OPEN", "opened"]


def test_a_lockout_found_after_a_kill_is_told_once_however_often_it_starts(bench: Bench) -> None:
    for _ in range(3):
        bench.journal.begin()
        bench.journal.tell(
            "locked_out_at_start", "the last run ended without a word", remedy="look"
        )
        bench.tick(2)
    assert bench.titles == ["LOCKED OUT at start"]


def test_a_restart_that_finds_the_lockout_of_a_trip_is_no_news(bench: Bench) -> None:
    bench.journal.trip(reason="3.612 V at the front cell")
    bench.tick(2)
    bench.journal.begin()
    bench.journal.tell("locked_out_at_start", "3.612 V at the front cell")
    bench.tick(2)
    assert bench.titles == ["TRIP overvoltage"]


def test_the_same_trip_after_a_reset_is_another(bench: Bench) -> None:
    for _ in range(2):
        bench.journal.trip("external", "the stop button was pressed")
        bench.tick(10)
        bench.journal.tell("reset", "reset by the warden: looked")
        bench.tick(10)
    assert bench.titles == ["TRIP external", "lockout reset"] * 2


@pytest.mark.parametrize(
    ("code", "title"),
    [("finished", "FULL"), ("closed", "closed"), ("opened", "opened"),
     ("journal_lost", "RECORD TROUBLE"), ("latch_not_written", "RECORD TROUBLE")],
)  # fmt: skip
def test_each_event_that_somebody_has_to_know_is_told(bench: Bench, code: str, title: str) -> None:
    bench.journal.tell(code, "this is what happened")
    bench.tick(2)
    assert bench.titles == [title]
    assert "this is what happened" in bench.targets.arrived[0].body


@pytest.mark.parametrize("code", ["stage", "cue", "cue_ended", "paused", "resumed", "rest"])
def test_others_are_not(bench: Bench, code: str) -> None:
    bench.journal.tell(code)
    bench.tick(3)
    assert bench.titles == []


def test_a_disk_that_fails_again_and_again_is_told_once_an_hour(bench: Bench) -> None:
    for _ in range(20):
        bench.journal.tell("latch_not_written", "read-only")
        bench.tick(each_s=360.0)
    assert bench.titles == ["RECORD TROUBLE"] * 2


def test_a_simulated_bank_says_so_in_front(bench: Bench) -> None:
    bench.journal.begin(is_simulated=True)
    bench.journal.trip()
    bench.tick(2)
    assert bench.titles == ["SIMULATED TRIP overvoltage"]
