"""Failed to open: judged by the current's mean and, where fitted, the auxiliary contact."""

from dataclasses import replace

import pytest
from cycles import (
    CANNOT_TELL,
    CLEAR,
    CLOSED,
    SHUNT,
    TIMING,
    TRIP,
    Value,
    cycle,
    reading,
    told_open,
    with_rule,
)

from supervisor.protection.rules.failed_to_open import AUXILIARY_LOOKS, FailedToOpenRule
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings

UNKNOWN = Quality.NO_ANSWER


@pytest.fixture
def settings(hut_settings: SupervisorSettings) -> SupervisorSettings:
    return with_rule(hut_settings, "failed_to_open", current_amperes=3.0, within_seconds=0.5)


@pytest.fixture
def rule(settings: SupervisorSettings) -> FailedToOpenRule:
    return FailedToOpenRule(settings)


def judge(
    rule: FailedToOpenRule, after_s: float, amperes: Value, auxiliary_closed: bool | None
) -> Verdict:
    """So long after the coil was dropped at 10 s, seen in enough cycles for every count."""
    now_s = 10.0 + after_s
    seen = cycle(now_s, amperes=amperes, contactor=told_open(10.0, auxiliary_closed))
    return [rule.judge(seen, now_s) for _ in range(AUXILIARY_LOOKS)][-1]


@pytest.mark.parametrize("auxiliary_closed", [True, False, None])
@pytest.mark.parametrize("amperes", [0.0, 100.0, UNKNOWN])
def test_told_to_close_is_clear(
    rule: FailedToOpenRule, amperes: Value, auxiliary_closed: bool | None
) -> None:
    closed = replace(CLOSED, auxiliary_closed=auxiliary_closed)
    assert rule.judge(cycle(5.0, amperes=amperes, contactor=closed), 5.0).state is CLEAR


@pytest.mark.parametrize(
    ("after_s", "amperes", "auxiliary_closed", "state"),
    [
        # Within the time allowed, whatever is seen.
        (0.1, 100.0, True, TIMING),
        (0.4, 0.0, False, TIMING),
        (0.4, UNKNOWN, None, TIMING),
        # After it.
        (1.0, 0.0, False, CLEAR),
        (1.0, 0.0, None, CLEAR),
        (1.0, 2.9, None, CLEAR),
        (1.0, -2.9, False, CLEAR),
        (1.0, 3.1, None, TRIP),
        (1.0, -3.1, None, TRIP),
        (1.0, 0.0, True, TRIP),
        (1.0, UNKNOWN, True, TRIP),
        (1.0, 3.1, False, TRIP),  # an auxiliary contact does not explain a current
        (1.0, UNKNOWN, False, CLEAR),
        (1.0, UNKNOWN, None, CANNOT_TELL),
        (3600.0, 3.1, False, TRIP),
    ],
)
def test_truth_table(
    rule: FailedToOpenRule,
    after_s: float,
    amperes: Value,
    auxiliary_closed: bool | None,
    state: State,
) -> None:
    assert judge(rule, after_s, amperes, auxiliary_closed).state is state


def test_auxiliary_contact_is_enough_without_a_window(rule: FailedToOpenRule) -> None:
    readings = cycle(10.6, means="none yet", new=False, contactor=told_open(10.0, True))
    states = [rule.judge(readings, 10.6).state for _ in range(AUXILIARY_LOOKS)]
    assert states[-1] is TRIP
    assert TRIP not in states[:-1]


def test_a_spike_on_the_auxiliary_contact_is_no_verdict(rule: FailedToOpenRule) -> None:
    for k in range(300):
        says_closed = k % AUXILIARY_LOOKS != 0
        now_s = 11.0 + k * 0.0143
        seen = cycle(now_s, amperes=0.0, contactor=told_open(10.0, says_closed))
        assert rule.judge(seen, now_s).state is CLEAR


@pytest.mark.parametrize(
    ("window_ends_s", "state"), [(10.45, TIMING), (10.59, TIMING), (10.601, TRIP)]
)
def test_a_mean_from_before_the_time_was_up_does_not_count(
    rule: FailedToOpenRule, window_ends_s: float, state: State
) -> None:
    means = {SHUNT: reading(SHUNT, 80.0, window_ends_s)}
    readings = cycle(10.61, means=means, contactor=told_open(10.0, None))
    assert rule.judge(readings, 10.61).state is state


def test_waits_for_a_mean_but_not_for_long(rule: FailedToOpenRule) -> None:
    assert judge(rule, 0.75, UNKNOWN, None).state is TIMING
    assert judge(rule, 0.85, UNKNOWN, None).state is CANNOT_TELL


def test_reason_has_the_current_and_the_time(rule: FailedToOpenRule) -> None:
    verdict = judge(rule, 0.7, 81.34, None)
    assert verdict.reason == "81.3 A flow 0.70 s after the coil was dropped"
    assert verdict.measured == 81.34
    assert verdict.since_s == 10.0
