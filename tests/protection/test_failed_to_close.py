"""Told to close, and the auxiliary contact says open."""

from pathlib import Path
from typing import Any

import pytest
from cycles import CLEAR, CYCLE_S, TIMING, TRIP, cycle, feed, states, told_closed, told_open
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.rulebook import build_rules
from supervisor.protection.rules.failed_to_close import FailedToCloseRule
from supervisor.readings import ContactorState
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.fitness import load_fit

LIMIT_S = 0.5
EXAMPLE = Path(__file__).parents[2] / "config" / "hut-bank.yaml"


def stays_open(told_at_s: float = 0.0) -> ContactorState:
    return ContactorState(True, told_at_s, False)


@pytest.fixture
def rule(hut_settings: SupervisorSettings) -> FailedToCloseRule:
    return FailedToCloseRule(hut_settings)


def course(*parts: tuple[float, ContactorState]) -> list[tuple[float, dict[str, Any]]]:
    """Cycles, each state of the contactor from its time until the next; the last for 2 s."""
    starts = [at_s for at_s, _ in parts]
    ends = [*starts[1:], starts[-1] + 2.0]
    return [
        (at_s + k * CYCLE_S, {"contactor": state})
        for (at_s, state), end_s in zip(parts, ends, strict=True)
        for k in range(round((end_s - at_s) / CYCLE_S))
    ]


def first_trip_s(
    rule: FailedToCloseRule, steps: list[tuple[float, dict[str, Any]]]
) -> float | None:
    verdicts = zip(steps, feed(rule, steps), strict=True)
    return next((at_s for (at_s, _), v in verdicts if v.state is TRIP), None)


def test_a_contact_that_stays_open_trips_after_the_time_allowed(rule: FailedToCloseRule) -> None:
    tripped_s = first_trip_s(rule, course((10.0, stays_open(10.0))))
    assert tripped_s == pytest.approx(10.0 + LIMIT_S, abs=CYCLE_S)


def test_pull_in_is_borne(rule: FailedToCloseRule) -> None:
    steps = course((10.0, stays_open(10.0)), (10.1, told_closed(10.0)))
    assert TRIP not in states(feed(rule, steps))


def test_a_contact_that_opens_by_itself(rule: FailedToCloseRule) -> None:
    """At once, long before it can close again: three looks, against one that was wrong."""
    steps = course((0.0, told_closed(0.0)), (50.0, stays_open()))
    assert first_trip_s(rule, steps) == pytest.approx(50.0 + 2 * CYCLE_S, abs=CYCLE_S / 2)
    assert "opened by itself" in rule.judge(cycle(60.0, contactor=stays_open()), 60.0).reason


def test_it_is_no_closing_before_it_was_seen_for_some_looks(rule: FailedToCloseRule) -> None:
    """A bounce: open, closed for two looks, open for some, closed for good."""
    steps = course(
        (10.0, stays_open(10.0)),
        (10.05, told_closed(10.0)),
        (10.05 + 2 * CYCLE_S, stays_open(10.0)),
        (10.15, told_closed(10.0)),
    )
    assert TRIP not in states(feed(rule, steps))


def test_two_wrong_looks_are_borne(rule: FailedToCloseRule) -> None:
    steps = course(
        (0.0, told_closed(0.0)), (5.0, stays_open()), (5.0 + 2 * CYCLE_S, told_closed(0.0))
    )
    assert TRIP not in states(feed(rule, steps))


@pytest.mark.parametrize("period_s", [0.1, 0.25, 0.5, 1.0])
def test_chatter_trips(rule: FailedToCloseRule, period_s: float) -> None:
    """Half of the time open: the bucket fills after 2.25 times as long, and one period."""
    parts = [
        part
        for k in range(100)
        for part in ((k * period_s, stays_open()), ((k + 0.5) * period_s, told_closed(0.0)))
    ]
    tripped_s = first_trip_s(rule, course(*parts))
    assert tripped_s is not None
    assert tripped_s <= 2.25 * LIMIT_S + period_s + 2 * CYCLE_S


def test_told_to_open_is_another_rules_matter(rule: FailedToCloseRule) -> None:
    steps = course((0.0, stays_open()), (0.3, told_open(0.3)))
    assert states(feed(rule, steps))[-1] is CLEAR


@given(st.floats(min_value=0.02, max_value=0.4), st.integers(min_value=1, max_value=30))
def test_every_closing_has_its_own_time(open_s: float, closings: int) -> None:
    """Slow pull-ins do not add up over closings; openings between them are not counted."""
    rule = FailedToCloseRule(load_fit(EXAMPLE))
    for k in range(closings):
        at_s = 10.0 * k
        steps = course(
            (at_s, stays_open(at_s)),
            (at_s + open_s, told_closed(at_s)),
            (at_s + 1, told_open(at_s + 1)),
        )
        assert TRIP not in states(feed(rule, steps))


def test_without_auxiliary_contact_there_is_no_such_rule(hut_settings: SupervisorSettings) -> None:
    contactor = hut_settings.contactor.model_copy(update={"auxiliary": None})
    bare = hut_settings.model_copy(update={"contactor": contactor})
    assert "failed_to_close" in [rule.key for rule in build_rules(hut_settings)]
    assert "failed_to_close" not in [rule.key for rule in build_rules(bare)]


def test_one_look_at_a_spike_is_no_trip(rule: FailedToCloseRule) -> None:
    steps = course((0.0, told_closed(0.0)), (5.0, stays_open()), (5.0 + CYCLE_S, told_closed(0.0)))
    seen = states(feed(rule, steps))
    assert TRIP not in seen
    assert seen.count(TIMING) == 1
