"""What only the status file, and time, can tell: blind, ignored cues, trips without a journal."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from message_bench import OPEN, Bench

from supervisor.snapshot import (
    CueView,
    ForecastView,
    GuidanceView,
    JournalView,
    LockoutView,
    Snapshot,
)
from supervisor.status.status_file import FILE_NAME

NOTHING = ForecastView(None, None, None, "")
EASE_DOWN = CueView("ease_down", "now", "Ease down now.", "3.612 V for 4 s")


def with_cues(*cues: CueView) -> Snapshot:
    guidance = GuidanceView(
        "taper", 10.0, "", cues, NOTHING, NOTHING, None, None, None, None, 0.0, 0.0, 0.0, True,
        0.0, None, None, None,
    )  # fmt: skip
    return replace(OPEN, circuit="closed", guidance=guidance)


def locked(wall: str = "2026-07-01T12:05:00+00:00", **changes: object) -> Snapshot:
    view = LockoutView(
        "overvoltage", "too high", "let it rest", 3.612, 3.6, "V", wall, 0.042, False, True, ()
    )
    return replace(OPEN, circuit="locked out", lockout=replace(view, **changes))  # type: ignore[arg-type]


def daemon_dies(bench: Bench) -> None:
    bench.is_published = False


def file_is_gone(bench: Bench) -> None:
    bench.is_published = False
    (bench.folder / FILE_NAME).unlink()


def file_is_garbage(bench: Bench) -> None:
    bench.is_published = False
    (bench.folder / FILE_NAME).write_bytes(b"\xff{")


@pytest.mark.parametrize("happens", [daemon_dies, file_is_gone, file_is_garbage])
def test_blind_after_the_set_time_once_and_its_end(
    bench: Bench, happens: Callable[[Bench], None]
) -> None:
    happens(bench)
    bench.tick(60)
    assert bench.titles == []
    bench.tick(5)
    bench.tick(60, each_s=10.0)
    assert bench.titles == ["BLIND, no data for 60 s"]
    bench.is_published = True
    bench.tick(29)
    assert bench.titles == ["BLIND, no data for 60 s"]
    bench.tick(10)
    assert bench.titles == ["BLIND, no data for 60 s", "sees again"]
    assert "now the circuit is open" in bench.targets.arrived[-1].body


def test_blind_is_told_once_over_restarts_and_so_is_its_end(bench: Bench) -> None:
    daemon_dies(bench)
    for _ in range(3):
        bench.tick(100)
        bench.restart()
    assert bench.titles == ["BLIND, no data for 60 s"]
    bench.is_published = True
    for _ in range(3):
        bench.tick(35)
        bench.restart()
    assert bench.titles[1:] == ["sees again"]


def seen_now_and_then(bench: Bench, seen_s: int, dark_s: int, times: int) -> None:
    """By ticks of a second; a status is fresh for 3 s after it was published last."""
    for _ in range(times):
        bench.is_published = True
        bench.tick(seen_s)
        bench.is_published = False
        bench.tick(dark_s)


@pytest.mark.parametrize(("seen_s", "dark_s"), [(1, 55), (1, 9), (5, 59), (25, 50)])
def test_one_that_is_blind_most_of_the_time_is_told_so(
    bench: Bench, seen_s: int, dark_s: int
) -> None:
    bench.snapshot = replace(OPEN, circuit="closed")
    seen_now_and_then(bench, seen_s, dark_s, times=400 // (seen_s + dark_s))
    assert bench.titles[0].startswith("BLIND, hardly any data for ")
    assert "it may be closed" in bench.targets.arrived[0].body
    assert len(bench.titles) == 1


@pytest.mark.parametrize(("seen_s", "dark_s"), [(60, 50), (10, 8), (5, 5)])
def test_one_that_sees_most_of_the_time_is_not(bench: Bench, seen_s: int, dark_s: int) -> None:
    seen_now_and_then(bench, seen_s, dark_s, times=800 // (seen_s + dark_s))
    assert bench.titles == []


def test_a_lockout_that_shows_now_and_then_is_told(bench: Bench) -> None:
    bench.snapshot = locked()
    seen_now_and_then(bench, 1, 20, times=2)
    assert bench.titles == ["TRIP overvoltage"]


def test_a_pause_of_the_machine_is_not_blindness(bench: Bench) -> None:
    bench.tick(5, each_s=300.0)
    assert bench.titles == []


@pytest.mark.parametrize("step_s", [-1e7, -3600.0, 3600.0, 1e8])
def test_a_clock_that_is_set_makes_nobody_blind_and_nothing_late(
    bench: Bench, step_s: float
) -> None:
    bench.tick(10)
    bench.time.at_wall_s += step_s
    bench.tick(100)
    assert bench.titles == []
    bench.journal.trip()
    bench.time.at_wall_s += step_s
    bench.tick(2)
    assert bench.titles == ["TRIP overvoltage"]
    assert "late" not in bench.targets.arrived[0].body


def test_blind_after_an_end_in_good_order_says_so(bench: Bench) -> None:
    bench.journal.tell("ended", "ended, the circuit is open")
    file_is_gone(bench)
    bench.tick(70)
    assert "ended in good order" in bench.targets.arrived[0].body


def a_snapshot_of_the_next_run(bench: Bench) -> None:
    """Whose journal cannot be written."""
    bench.is_published = True
    bench.snapshot = replace(OPEN, circuit="closed")
    bench.tick(40)


def a_restart_of_this_process(bench: Bench) -> None:
    a_snapshot_of_the_next_run(bench)
    bench.restart()


def one_that_nobody_saw_fresh(bench: Bench) -> None:
    """This process was ended while the next run came and went."""
    bench.time.pass_(600)
    bench.publish()
    bench.time.pass_(4)


def an_open_one(bench: Bench) -> None:
    bench.is_published = True
    bench.tick(5)


@pytest.mark.parametrize(
    "follows",
    [a_snapshot_of_the_next_run, a_restart_of_this_process, one_that_nobody_saw_fresh, an_open_one],
)
@pytest.mark.parametrize("leaves", [daemon_dies, file_is_gone])
def test_an_end_in_good_order_is_over_as_soon_as_anything_follows(
    bench: Bench, leaves: Callable[[Bench], None], follows: Callable[[Bench], None]
) -> None:
    bench.journal.tell("ended", "ended, the circuit is open")
    leaves(bench)
    bench.tick(5)
    follows(bench)
    daemon_dies(bench)
    bench.tick(100)
    blind = next(sent for sent in bench.targets.arrived if sent.title.startswith("BLIND"))
    assert "good order" not in blind.body
    assert "it may be closed" in blind.body


def test_a_next_run_that_ends_in_good_order_says_so_again(bench: Bench) -> None:
    for _ in range(2):
        bench.journal.begin()
        bench.journal.tell("without")
        bench.is_published = True
        bench.tick(40)
        bench.journal.tell("ended", "ended, the circuit is open")
        file_is_gone(bench)
        bench.tick(70)
    assert bench.titles == ["BLIND, no data for 60 s", "sees again", "BLIND, no data for 60 s"]
    assert "ended in good order" in bench.targets.arrived[-1].body


@pytest.mark.parametrize(
    "last",
    [
        {"circuit": "closed"},
        {"circuit": "paused"},
        {"coil_on": True},
        {"auxiliary_closed": True},
        {"circuit": "locked out", "lockout": "failed to open"},
    ],
)
def test_an_end_is_not_in_good_order_for_one_who_saw_it_closed_last(
    bench: Bench, last: dict[str, object]
) -> None:
    if "lockout" in last:
        last = last | {"lockout": locked(failed_to_open=True, opened_in_s=None).lockout}
    bench.snapshot = replace(OPEN, **last)  # type: ignore[arg-type]
    bench.tick(2)
    bench.journal.tell("ended", "ended, the circuit is open")
    file_is_gone(bench)
    bench.tick(80)
    blind = next(sent for sent in bench.targets.arrived if sent.title.startswith("BLIND"))
    assert "good order" not in blind.body
    assert "look at the contactor" in blind.body


def test_blind_otherwise_says_that_it_may_be_closed(bench: Bench) -> None:
    daemon_dies(bench)
    bench.tick(70)
    assert "it may be closed" in bench.targets.arrived[0].body


def test_a_cue_that_nobody_answers_is_told_once(bench: Bench) -> None:
    bench.snapshot = with_cues(EASE_DOWN)
    bench.tick(120)
    assert bench.titles == []
    bench.tick(60, each_s=10.0)
    assert bench.titles == ["CUE IGNORED for 2 min"]
    assert "Ease down now." in bench.targets.arrived[0].body


def test_one_that_was_answered_is_not(bench: Bench) -> None:
    for _ in range(4):
        bench.snapshot = with_cues(EASE_DOWN)
        bench.tick(18, each_s=5.0)
        bench.snapshot = with_cues(replace(EASE_DOWN, urgency="soon"))
        bench.tick(12, each_s=5.0)
    assert bench.titles == []


def test_one_that_flickers_or_changes_its_name_is_still_there(bench: Bench) -> None:
    for name in ("ease_down", "too_fast") * 8:
        bench.snapshot = with_cues(replace(EASE_DOWN, cue=name))
        bench.tick(10)
        bench.snapshot = with_cues()
        bench.tick(5)
    assert bench.titles == ["CUE IGNORED for 2 min"]


def test_an_ignored_cue_is_not_told_again_by_a_restart(bench: Bench) -> None:
    bench.snapshot = with_cues(EASE_DOWN)
    for _ in range(3):
        bench.tick(60, each_s=5.0)
        bench.restart()
    assert bench.titles == ["CUE IGNORED for 2 min"]


def test_a_trip_that_the_journal_does_not_tell_is_told_by_the_status(bench: Bench) -> None:
    bench.snapshot = locked()
    bench.tick(10)
    assert bench.titles == []
    bench.tick(30)
    assert bench.titles == ["TRIP overvoltage"]
    assert "measured 3.612 V, limit 3.600 V" in bench.targets.arrived[0].body


def test_and_not_again_when_the_journal_is_written_after_all(bench: Bench) -> None:
    bench.tick()
    wall_s, at_s = bench.time.at_wall_s, bench.time.at_s
    bench.snapshot = locked("2026-07-01T12:00:02+00:00")
    bench.tick(40)
    passed_s = bench.time.at_s - at_s
    bench.time.pass_(-passed_s)  # written late, dated as it was
    assert bench.time.at_wall_s == wall_s
    bench.journal.trip(reason="too high")
    bench.time.pass_(passed_s)
    bench.tick(40)
    assert bench.titles == ["TRIP overvoltage"]


def test_a_trip_in_both_is_told_once(bench: Bench) -> None:
    bench.journal.trip(reason="too high")
    bench.snapshot = locked()
    bench.tick(100)
    bench.restart()
    bench.tick(100)
    assert bench.titles == ["TRIP overvoltage"]


def test_nor_twice_when_the_status_is_a_moment_behind(bench: Bench) -> None:
    bench.tick(100)
    bench.journal.trip(reason="too high")
    bench.tick(2)  # the status still shows no lockout
    bench.snapshot = locked()
    bench.tick(100)
    assert bench.titles == ["TRIP overvoltage"]


def test_that_it_failed_to_open_is_told_when_only_the_status_says_so(bench: Bench) -> None:
    bench.journal.trip(reason="too high")
    bench.snapshot = locked()
    bench.tick(5)
    bench.snapshot = locked(failed_to_open=True, opened_in_s=None)
    bench.tick(100)
    assert bench.titles == ["TRIP overvoltage", "DID NOT OPEN"]


@pytest.mark.parametrize(
    ("second", "open_s"),
    [("12:15:00", 60), ("12:05:00", 60), ("12:05:03", 60), ("12:06:20", 3), ("12:06:20", 0),
     ("11:00:00", 3)],
)  # fmt: skip
def test_a_second_trip_is_told_though_the_journal_is_silent_all_the_time(
    bench: Bench, second: str, open_s: int
) -> None:
    """Some of them by a clock set back, some so soon after a reset that no status shows it."""
    for at in ("12:05:00", second):
        bench.snapshot = locked(f"2026-07-01T{at}+00:00")
        bench.tick(60)
        bench.restart()
        bench.snapshot = OPEN
        bench.tick(open_s)
    assert bench.titles == ["TRIP overvoltage"] * 2


def test_nor_is_it_told_twice_where_the_journal_tells_the_second(bench: Bench) -> None:
    bench.journal.trip(reason="too high")
    bench.snapshot = locked(datetime.fromtimestamp(bench.time.at_wall_s, UTC).isoformat())
    bench.tick(30)
    bench.journal.trip(reason="too high")
    bench.tick(1)  # the status is a moment behind
    bench.snapshot = locked(datetime.fromtimestamp(bench.time.at_wall_s, UTC).isoformat())
    bench.tick(60)
    assert bench.titles == ["TRIP overvoltage"] * 2


def test_nor_where_a_start_finds_the_lockout_of_long_ago(bench: Bench) -> None:
    """Dated to the trip in the status, to the start in the journal."""
    bench.journal.begin()
    bench.journal.tell("locked_out_at_start", "too high", remedy="look")
    bench.snapshot = locked("2026-06-01T12:00:00+00:00")
    bench.tick(60)
    assert bench.titles == ["LOCKED OUT at start"]


@pytest.mark.parametrize("off_s", [0.0, 4.0, -4.0])
@pytest.mark.parametrize("is_reset", [True, False])
@pytest.mark.parametrize("is_another_run", [True, False])
def test_a_second_trip_is_told_though_the_journal_lost_the_first_and_the_clock_was_set_back(
    bench: Bench, off_s: float, is_reset: bool, is_another_run: bool
) -> None:
    """The same words, the same date, and the journal owes one of that kind."""
    date = datetime.fromtimestamp(bench.time.at_wall_s, UTC).isoformat()
    wall_s = bench.time.at_wall_s
    bench.snapshot = locked(date)
    bench.tick(60)
    assert bench.titles == ["TRIP overvoltage"]
    bench.snapshot = OPEN
    bench.tick(60 if is_reset else 3)
    if is_another_run:
        bench.journal.begin()
    bench.time.at_wall_s = wall_s + off_s
    bench.journal.trip(reason="too high")
    bench.tick(60)
    assert bench.titles == ["TRIP overvoltage"] * 2


def test_a_journal_that_cannot_be_written_is_told_once_until_it_can(bench: Bench) -> None:
    trouble = replace(OPEN, journal=JournalView(trouble="the disk is full"))
    for _ in range(2):
        bench.snapshot = trouble
        bench.tick(60, each_s=10.0)
        bench.snapshot = OPEN
        bench.tick(60, each_s=10.0)
    assert bench.titles == ["RECORD TROUBLE"] * 2
    assert "the disk is full" in bench.targets.arrived[0].body


def test_a_journal_that_cannot_be_read_is_told(bench: Bench) -> None:
    bench.journal.close()
    for part in bench.folder.glob("journal.sqlite*"):
        part.unlink()
    bench.tick(60, each_s=5.0)
    assert bench.titles == ["RECORD TROUBLE"]
    assert "there is no journal" in bench.targets.arrived[0].body
