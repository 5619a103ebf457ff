"""Loop overrun: one cycle far too late, or too many missed deadlines."""

from typing import Any

import pytest
from cycles import CLEAR, TIMING, TRIP, feed, states, with_rule

from supervisor.protection.rules.loop_overrun import LoopOverrunRule
from supervisor.settings.model import SupervisorSettings


@pytest.fixture
def rule(hut_settings: SupervisorSettings) -> LoopOverrunRule:
    changes = {"trip_late_seconds": 0.2, "trip_misses": 10, "in_seconds": 5.0}
    return LoopOverrunRule(with_rule(hut_settings, "loop_overrun", **changes))


def misses(*totals: int, step_s: float = 0.5) -> list[tuple[float, dict[str, Any]]]:
    return [(k * step_s, {"misses": total}) for k, total in enumerate(totals)]


def test_on_time_is_clear(rule: LoopOverrunRule) -> None:
    assert set(states(feed(rule, misses(*[0] * 20)))) == {CLEAR}


@pytest.mark.parametrize(("late_s", "state"), [(0.19, CLEAR), (0.2, CLEAR), (0.21, TRIP)])
def test_one_cycle_too_late(rule: LoopOverrunRule, late_s: float, state: object) -> None:
    """A stall of many periods, in the field: it must be told, not made up for."""
    verdict = feed(rule, [(0.0, {"late_s": late_s})])[0]
    assert verdict.state is state
    assert verdict.measured == late_s


def test_times_from_half_of_the_misses_and_trips_at_all(rule: LoopOverrunRule) -> None:
    verdicts = feed(rule, misses(0, 2, 4, 5, 9, 10, 10))
    assert states(verdicts) == [CLEAR, CLEAR, CLEAR, TIMING, TIMING, TRIP, TRIP]
    assert "10 deadlines missed within 5 s" in verdicts[5].reason
    assert verdicts[5].since_s == 0.5


def test_what_is_measured_is_what_the_answer_goes_by(rule: LoopOverrunRule) -> None:
    """A cycle 0.025 s late against 0.2 s explains no trip by misses, and shows a margin."""
    steps = [(0.5 * k, {"misses": misses, "late_s": 0.025}) for k, misses in enumerate((0, 5, 10))]
    on_time, timing, trip = feed(rule, steps)
    assert on_time.measured == 0.025
    assert (timing.state, timing.measured) == (TIMING, None)
    assert (trip.state, trip.measured) == (TRIP, None)
    late = feed(rule, [(1.5, {"misses": 10, "late_s": 0.3})])[0]
    assert (late.state, late.measured) == (TRIP, 0.3)


def test_old_misses_are_forgotten(rule: LoopOverrunRule) -> None:
    totals = [k // 2 for k in range(200)]  # one a second
    assert TRIP not in states(feed(rule, misses(*totals)))


def test_misses_before_the_first_cycle_do_not_count(rule: LoopOverrunRule) -> None:
    assert states(feed(rule, misses(1000, 1000, 1003))) == [CLEAR] * 3


def test_a_counter_that_starts_again_is_no_miss(rule: LoopOverrunRule) -> None:
    assert states(feed(rule, misses(0, 4, 0, 4, 5))) == [CLEAR, CLEAR, CLEAR, TIMING, TIMING]


def test_clear_again_after_a_while(rule: LoopOverrunRule) -> None:
    verdicts = feed(rule, misses(0, *[12] * 20))
    assert verdicts[1].state is TRIP
    assert verdicts[-1].state is CLEAR
