"""Whole answers, field by field, of the rules with few states, and of the decision over them.

Every limit is set to a number that is exact in binary: at it, and one step past it.
"""

from collections.abc import Mapping
from math import inf, nextafter
from typing import Any

import pytest
from cycles import (
    CANNOT_TELL,
    CLEAR,
    CLOSED,
    FAR,
    FRONT,
    SHUNT,
    TIMING,
    TRIP,
    Value,
    cycle,
    feed,
    reading,
    states,
    told_closed,
    told_open,
    with_rule,
)

from supervisor.protection.decision import Decision, Protection
from supervisor.protection.rules.failed_to_open import AUXILIARY_LOOKS, FailedToOpenRule
from supervisor.protection.rules.loop_overrun import LoopOverrunRule
from supervisor.protection.rules.rate_of_rise import RateOfRiseRule
from supervisor.protection.rules.stale import StaleRule
from supervisor.protection.verdict import Memory, State, Verdict
from supervisor.readings import Pace, Quality, Readings
from supervisor.settings.model import SupervisorSettings

SILENT = Quality.NO_ANSWER
Step = tuple[float, dict[str, Any]]


def just_below(value: float) -> float:
    return nextafter(value, -inf)


def just_above(value: float) -> float:
    return nextafter(value, inf)


# --- stale: 0.25 s


@pytest.fixture
def stale(hut_settings: SupervisorSettings) -> StaleRule:
    return StaleRule(with_rule(hut_settings, "stale", trip_after_seconds=0.25))


def is_stale(state: State, age_s: float, since_s: float | None, reason: str) -> Verdict:
    return Verdict("stale", state, age_s, 0.25, "s", since_s, reason)


def aged(age_s: float, at_s: float) -> Readings:
    """The far cell's answer is so old, the others' are half as old."""
    ages = {FRONT: age_s / 2, FAR: age_s, SHUNT: age_s / 2}
    scan = {channel: reading(channel, 3.4, at_s - age) for channel, age in ages.items()}
    return Readings(scan, None, False, CLOSED, Pace(0.0, 0))


def test_stale_exactly_at_the_limit_an_answer_is_in_time(stale: StaleRule) -> None:
    in_time = "every channel answers in time"
    assert stale.judge(aged(0.25, 0.0), 0.0) == is_stale(CLEAR, 0.25, None, in_time)


def test_stale_one_step_past_the_limit(stale: StaleRule) -> None:
    age_s = just_above(0.25)
    reason = "far cell: no fresh answer for 0.25 s"
    assert stale.judge(aged(age_s, 0.0), 0.0) == is_stale(TRIP, age_s, -age_s, reason)


def test_stale_silent_and_not_for_long_yet(stale: StaleRule) -> None:
    verdict = feed(stale, [(8.0, {}), (8.125, {"front": SILENT})])[-1]
    reason = "front cell: no fresh answer for 0.12 s"
    assert verdict == is_stale(CANNOT_TELL, 0.125, 8.0, reason)


@pytest.mark.parametrize(
    ("silent_s", "reason"),
    [
        (0.9 * 0.25, "far cell: no fresh answer for 0.23 s"),
        (just_below(0.9 * 0.25), "far cell fails to answer again and again"),
    ],
)
def test_stale_from_nine_tenths_of_the_limit_on_it_is_one_silence(
    stale: StaleRule, silent_s: float, reason: str
) -> None:
    """0.25 s lost, one good answer, and silent again: full well before the limit."""
    before: list[Step] = [(-0.5, {"far": SILENT}), (-0.25, {"far": SILENT}), (0.0, {})]
    verdict = feed(stale, [*before, (silent_s, {"far": SILENT})])[-1]
    assert verdict == is_stale(TRIP, silent_s, 0.0, reason)


# --- loop overrun: 0.25 s late, or 10 misses in 5 s


@pytest.fixture
def overrun(hut_settings: SupervisorSettings) -> LoopOverrunRule:
    changes = {"trip_late_seconds": 0.25, "trip_misses": 10, "in_seconds": 5.0}
    return LoopOverrunRule(with_rule(hut_settings, "loop_overrun", **changes))


def is_late(state: State, late_s: float | None, since_s: float | None, reason: str) -> Verdict:
    return Verdict("loop_overrun", state, late_s, 0.25, "s", since_s, reason)


def test_overrun_exactly_at_the_limit_is_on_time(overrun: LoopOverrunRule) -> None:
    verdict = feed(overrun, [(0.0, {"late_s": 0.25})])[0]
    assert verdict == is_late(CLEAR, 0.25, None, "the loop is on time")


def test_overrun_one_step_past_the_limit(overrun: LoopOverrunRule) -> None:
    late_s = just_above(0.25)
    verdict = feed(overrun, [(0.0, {"late_s": late_s})])[0]
    reason = "a cycle began 0.25 s late, more than 0.25 s"
    assert verdict == is_late(TRIP, late_s, None, reason)


@pytest.mark.parametrize(
    ("misses", "state", "since_s", "reason"),
    [
        (4, CLEAR, None, "4 deadlines missed within 5 s"),
        (5, TIMING, 1.5, "5 deadlines missed within 5 s, 10 would be too many"),
        (9, TIMING, 1.5, "9 deadlines missed within 5 s, 10 would be too many"),
        (10, TRIP, 1.5, "10 deadlines missed within 5 s, 10 are too many"),
    ],
)
def test_overrun_by_misses(
    overrun: LoopOverrunRule, misses: int, state: State, since_s: float | None, reason: str
) -> None:
    steps: list[Step] = [
        (1.0, {"misses": 100}),
        (1.5, {"misses": 101}),
        (2.0, {"misses": 100 + misses, "late_s": 0.125}),
    ]
    late_s = 0.125 if state is CLEAR else None  # no lateness explains what misses do
    assert feed(overrun, steps)[-1] == is_late(state, late_s, since_s, reason)


def test_overrun_a_miss_counts_for_exactly_as_long_as_set(overrun: LoopOverrunRule) -> None:
    missed: dict[str, Any] = {"misses": 5}
    steps = [(0.0, {}), (0.5, missed), (5.5, missed), (just_above(5.5), missed)]
    at_last, forgotten = feed(overrun, steps)[-2:]
    reason = "5 deadlines missed within 5 s, 10 would be too many"
    assert at_last == is_late(TIMING, None, 0.5, reason)
    assert forgotten == is_late(CLEAR, 0.0, None, "the loop is on time")


# --- failed to open: 3 A, 0.5 s after the coil was dropped at 0 s


@pytest.fixture
def failed(hut_settings: SupervisorSettings) -> FailedToOpenRule:
    changes = {"current_amperes": 3.0, "within_seconds": 0.5}
    return FailedToOpenRule(with_rule(hut_settings, "failed_to_open", **changes))


def is_open(state: State, amperes: float | None, since_s: float | None, reason: str) -> Verdict:
    return Verdict("failed_to_open", state, amperes, 3.0, "A", since_s, reason)


def opened(
    rule: FailedToOpenRule, after_s: float, amperes: Value, auxiliary_closed: bool | None
) -> Verdict:
    """So long after the coil was dropped, with the auxiliary contact read often enough."""
    what = {"amperes": amperes, "contactor": told_open(0.0, auxiliary_closed)}
    return feed(rule, [(after_s, what)] * AUXILIARY_LOOKS)[-1]


def test_failed_to_open_told_to_close(failed: FailedToOpenRule) -> None:
    verdict = feed(failed, [(1.0, {"amperes": 100.0})])[0]
    assert verdict == is_open(CLEAR, None, None, "the contactor is told to be closed")


def test_failed_to_open_has_exactly_the_time_allowed(failed: FailedToOpenRule) -> None:
    still_allowed = opened(failed, just_below(0.5), 100.0, True)
    allowed = "told to open 0.50 s ago, 0.50 s are allowed"
    assert still_allowed == is_open(TIMING, None, 0.0, allowed)
    closed = "the auxiliary contact says closed 0.50 s after the coil was dropped"
    assert opened(failed, 0.5, 0.0, True) == is_open(TRIP, None, 0.0, closed)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_failed_to_open_exactly_at_the_limit_is_open(failed: FailedToOpenRule, sign: float) -> None:
    verdict = opened(failed, 1.0, sign * 3.0, None)
    assert verdict == is_open(CLEAR, sign * 3.0, None, "open, no current")


@pytest.mark.parametrize(
    ("amperes", "flow"), [(just_above(3.0), "3.0 A"), (-just_above(3.0), "-3.0 A")]
)
def test_failed_to_open_one_step_past_the_limit(
    failed: FailedToOpenRule, amperes: float, flow: str
) -> None:
    reason = f"{flow} flow 1.00 s after the coil was dropped"
    assert opened(failed, 1.0, amperes, False) == is_open(TRIP, amperes, 0.0, reason)


def test_failed_to_open_by_the_auxiliary_contact_alone(failed: FailedToOpenRule) -> None:
    verdict = opened(failed, 1.0, SILENT, False)
    assert verdict == is_open(CLEAR, None, None, "the auxiliary contact says open")


def test_failed_to_open_awaits_a_mean_for_exactly_three_windows(
    failed: FailedToOpenRule, hut_settings: SupervisorSettings
) -> None:
    until_s = 0.5 + 3 * hut_settings.loop.window_s
    awaited = "told to open 0.80 s ago, the current's mean is not complete yet"
    assert opened(failed, just_below(until_s), SILENT, None) == is_open(TIMING, None, 0.0, awaited)
    unknown = "neither the current nor an auxiliary contact tells whether it is open"
    assert opened(failed, until_s, SILENT, None) == is_open(CANNOT_TELL, None, None, unknown)


# --- rate of rise: 0.06 V/min for 2 s; see also test_rate_of_rise_answers.py


def test_rate_of_rise_a_rise_that_slackens_ends_its_timing(
    hut_settings: SupervisorSettings,
) -> None:
    """3.5 s of 1.5 mV/s (0.09 V/min), then level: once the whole stretch is, nothing rises."""
    rule = RateOfRiseRule(hut_settings)
    closed = told_closed(64.0)
    steps: list[Step] = []
    for at_s in (k / 8 for k in range(1, 129)):
        volts = 3.5 + 0.0015 * min(at_s, 3.5)
        steps.append((64.0 + at_s, {"front": volts, "far": 3.25, "contactor": closed}))
    verdicts = feed(rule, steps)
    limit = pytest.approx(0.06)
    assert verdicts[27] == Verdict(
        "rate_of_rise", TIMING, pytest.approx(0.09), limit, "V/min", 67.0,
        "front cell at 3.505 V rises 0.090 V/min, faster than 0.060 V/min for 0.5 s",
    )  # fmt: skip
    assert TRIP not in states(verdicts)
    assert verdicts[-1] == Verdict(
        "rate_of_rise", CLEAR, 0.0, limit, "V/min", None, "no cell rises too fast"
    )


# --- the decision over all rules


class Says:
    """A rule that says what it is told to, or fails."""

    key = "one"
    function = "74"
    remedy = "none"

    def __init__(self, state: State | None) -> None:
        self.state = state

    def judge(self, *_: object) -> Verdict:
        if self.state is None:
            raise ZeroDivisionError("by nought")
        return Verdict(self.key, self.state, 2.5, 3.0, "V", None, "it says so", "look", 7.0)


class Keeps(Says):
    """One that remembers, and notes what it was given to recall."""

    key = "keeps"

    def __init__(self) -> None:
        super().__init__(CLEAR)
        self.recalled: list[tuple[Memory | None, float, bool]] = []

    def memory(self, now_s: float) -> Memory:
        return {"heat": now_s / 2}

    def recall(self, memory: Memory | None, now_s: float, *, is_whole: bool) -> None:
        self.recalled.append((memory, now_s, is_whole))


def asking(settings: SupervisorSettings, *rules: Says) -> Protection:
    protection = Protection(settings)
    protection.rules = list(rules)
    return protection


def judge(protection: Protection, now_s: float) -> Decision:
    return protection.judge(cycle(now_s), now_s)


def test_doubt_for_exactly_the_lease_is_no_trip(hut_settings: SupervisorSettings) -> None:
    protection, lease_s = asking(hut_settings, Says(CANNOT_TELL)), hut_settings.lease_s
    doubt = Verdict("one", CANNOT_TELL, 2.5, 3.0, "V", 0.0, "it says so", "look", 7.0)
    for now_s in (0.0, lease_s):
        decision = judge(protection, now_s)
        assert decision == Decision(False, None, (doubt,))
        assert decision.doubt == doubt


def test_doubt_for_longer_than_the_lease(hut_settings: SupervisorSettings) -> None:
    """It keeps what its rule said, and says since when: 64 s, and 3 s later."""
    protection = asking(hut_settings, Says(CANNOT_TELL))
    assert hut_settings.lease_s < 3.0
    judge(protection, 64.0)
    reason = "could not tell for 3.00 s: it says so"
    expired = Verdict("one", TRIP, 2.5, 3.0, "V", 64.0, reason, "look", 7.0, by_doubt=True)
    assert judge(protection, 67.0) == Decision(False, expired, (expired,))


def test_doubt_one_step_past_the_lease_trips(hut_settings: SupervisorSettings) -> None:
    protection = asking(hut_settings, Says(CANNOT_TELL))
    judge(protection, 0.0)
    trip = judge(protection, just_above(hut_settings.lease_s)).trip
    assert trip is not None
    assert (trip.state, trip.since_s) == (TRIP, 0.0)


def test_a_rule_that_fails_has_nothing_to_show(hut_settings: SupervisorSettings) -> None:
    reason = "the rule itself failed (ZeroDivisionError: by nought): report this"
    failed = Verdict("one", CANNOT_TELL, None, 0.0, "", 5.0, reason)
    assert judge(asking(hut_settings, Says(None)), 5.0) == Decision(False, None, (failed,))


def test_only_rules_that_remember_have_memories(hut_settings: SupervisorSettings) -> None:
    protection = asking(hut_settings, Says(CLEAR), Keeps())
    assert protection.memories(8.0) == {"keeps": {"heat": 4.0}}


@pytest.mark.parametrize("is_whole", [True, False])
@pytest.mark.parametrize(
    ("memories", "own"),
    [
        ({"keeps": {"heat": 0.5}, "one": {"heat": 9.0}}, {"heat": 0.5}),
        ({"keeps": {}}, {}),
        ({"one": {"heat": 9.0}}, None),
        ({}, None),
    ],
)
def test_each_rule_recalls_its_own_memory(
    hut_settings: SupervisorSettings,
    memories: Mapping[str, Memory],
    own: Memory | None,
    is_whole: bool,
) -> None:
    """Also one of which nothing was kept: it is told so, to assume the worst (None)."""
    keeps = Keeps()
    asking(hut_settings, Says(CLEAR), keeps).recall(memories, 16.0, is_whole=is_whole)
    assert keeps.recalled == [(own, 16.0, is_whole)]
