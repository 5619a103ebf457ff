"""The axis of a session: monotonic within a run, the wall clock between runs, breaks beyond."""

import pytest

from supervisor.report.timeline import BREAK_S, Stamp, Timeline

WALL_S = 1_780_000_000.0


def timeline(*stamps: tuple[int, float, float]) -> Timeline:
    return Timeline(Stamp(run, mono_s, WALL_S + wall_s) for run, mono_s, wall_s in stamps)


def test_the_first_stamp_is_zero_and_the_monotonic_clock_counts() -> None:
    one = timeline((1, 500.0, 0.0), (1, 560.0, 60.0))
    assert one.at_s(1, 500.0) == 0.0
    assert one.at_s(1, 530.0) == 30.0
    assert one.ends_s == 60.0


def test_between_two_runs_the_wall_clock_tells_how_long_it_was() -> None:
    one = timeline((1, 500.0, 0.0), (1, 560.0, 60.0), (2, 5.0, 160.0), (2, 15.0, 170.0))
    assert one.at_s(2, 5.0) == 160.0
    assert one.ends_s == 170.0
    assert one.breaks() == []


@pytest.mark.parametrize("away_s", [-3600.0, 48 * 3600 + 61.0, -50 * 365 * 86400.0])
def test_what_the_wall_clock_cannot_mean_is_a_break(away_s: float) -> None:
    one = timeline((1, 0.0, 0.0), (1, 60.0, 60.0), (2, 5.0, 60.0 + away_s), (2, 6.0, 61.0 + away_s))
    assert one.at_s(2, 5.0) == 60.0 + BREAK_S
    assert one.breaks() == [(60.0, 60.0 + BREAK_S)]


def test_48_hours_between_two_runs_are_believed() -> None:
    one = timeline((1, 0.0, 0.0), (2, 0.0, 48 * 3600.0))
    assert one.breaks() == []
    assert one.ends_s == 48 * 3600.0


def test_a_clock_set_within_a_run_moves_nothing_and_is_told() -> None:
    one = timeline((1, 0.0, 0.0), (1, 30.0, 30.0), (1, 60.0, 60.0 + 86400))
    assert one.at_s(1, 60.0) == 60.0
    assert one.stretches[0].clock_step_s == 86400.0


def test_a_clock_that_drifts_by_a_second_was_not_set() -> None:
    assert timeline((1, 0.0, 0.0), (1, 3600.0, 3601.0)).stretches[0].clock_step_s == 0.0


def test_dates_follow_the_run_that_a_point_lies_in() -> None:
    one = timeline((1, 0.0, 0.0), (1, 60.0, 60.0), (2, 0.0, -1000.0), (2, 60.0, -940.0))
    assert one.wall_s(30.0) == WALL_S + 30.0
    assert one.wall_s(60.0 + BREAK_S + 10.0) == WALL_S - 990.0


def test_what_has_no_monotonic_time_stays_within_its_run() -> None:
    one = timeline((1, 100.0, 0.0), (1, 160.0, 60.0))
    assert one.of_wall_s(1, WALL_S + 20.0) == 20.0
    assert one.of_wall_s(1, WALL_S + 9000.0) == 60.0
    assert one.of_wall_s(7, WALL_S - 5.0) == 0.0
