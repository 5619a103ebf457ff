"""What the journal's events have to tell: each thing once, with all that belongs to it."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from journals import closing
from message_bench import OPEN, WALL_S, Bench

from supervisor.journal.records import UnseenEnd
from supervisor.snapshot import LockoutView


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
    assert bench.titles == ["TRIP stop button, power cut or kill", "lockout reset"] * 2


@pytest.mark.parametrize("code", ["reset", "closed"])
@pytest.mark.parametrize("is_another_run", [False, True])
@pytest.mark.parametrize("off_s", [0.0, 3.0])
def test_nor_is_it_the_same_because_the_clock_was_set_back(
    bench: Bench, code: str, is_another_run: bool, off_s: float
) -> None:
    """As after each start of a machine whose clock has no battery."""
    for k in range(2):
        bench.time.at_wall_s = WALL_S + k * off_s
        if is_another_run:
            bench.journal.begin()
        bench.journal.trip("external", "the stop button was pressed")
        bench.tick(10)
        bench.journal.tell(code)
        bench.tick(10)
    trips = [title for title in bench.titles if title.startswith("TRIP")]
    assert trips == ["TRIP stop button, power cut or kill"] * 2


def killed_while_closed(bench: Bench, *, heard_of_for_s: float = 600.0) -> None:
    """And started again after an hour, by a daemon that finds itself locked out."""
    bench.journal.write(closing(bench.time.at_s)._replace(wall_s=bench.time.at_wall_s))
    bench.tick(each_s=heard_of_for_s)
    bench.journal.tell("stage")
    bench.tick(each_s=3600.0)
    bench.journal.begin()
    wall = datetime.fromtimestamp(bench.time.at_wall_s, UTC).isoformat()
    view = LockoutView("external", REASON, "look", None, None, "", wall, None, False, True, ())
    bench.snapshot = replace(OPEN, circuit="locked out", lockout=view)


REASON = "the last run ended without a word while the circuit was closed"


def found_locked(bench: Bench) -> None:
    bench.journal.tell("locked_out_at_start", REASON, ended_unseen=True, remedy="look")


def found_unseen(bench: Bench) -> None:
    bench.journal.write(UnseenEnd(bench.time.at_s, bench.time.at_wall_s, REASON, "look"))


@pytest.mark.parametrize("apart_s", [0, 2])
def test_a_kill_is_told_once_with_the_last_sign_of_life(bench: Bench, apart_s: int) -> None:
    killed_while_closed(bench)
    found_locked(bench)
    bench.tick(apart_s)
    found_unseen(bench)
    bench.tick(20)
    bench.journal.begin()
    bench.journal.tell("locked_out_at_start", REASON, remedy="look")
    bench.tick(20)
    assert bench.titles == ["LOCKED OUT at start"]
    body = bench.targets.arrived[0].body
    assert "last noted: 2026-07-01 12:10:01 UTC\n" in body
    assert "when: 2026-07-01 13:10:" in body
    assert REASON in body


def test_a_last_sign_of_life_that_comes_late_or_never_holds_nothing_up(bench: Bench) -> None:
    killed_while_closed(bench)
    found_locked(bench)
    bench.tick(8)
    assert bench.titles == ["LOCKED OUT at start"]
    assert "last noted" not in bench.targets.arrived[0].body
    found_unseen(bench)
    bench.tick(20)
    assert bench.titles == ["LOCKED OUT at start"]


def test_a_kill_of_which_only_the_unseen_end_is_noted_is_told(bench: Bench) -> None:
    killed_while_closed(bench)
    found_unseen(bench)
    bench.tick(20)
    assert bench.titles == ["LOCKED OUT at start"]
    assert "last noted: 2026-07-01 12:10:01" in bench.targets.arrived[0].body


@pytest.mark.parametrize(
    ("code", "title"),
    [("finished", "FULL"), ("closed", "closed"), ("opened", "opened"),
     ("deaf", "REQUESTS NOT HEARD"),
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
