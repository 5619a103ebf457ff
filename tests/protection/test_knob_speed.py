"""Knob speed: 15 A/s, or 0.01 V/s of a cell, least squares over 2 s, noise taken off.

Published noise of a slope, sigma sqrt(12 / (n (n^2 - 1))) / dt: 1 mV, 1 s: n 10 1.100964e-4 V/s.
"""

from collections.abc import Callable
from math import nan, nextafter, sqrt
from typing import Any

import pytest
from cycles import (
    CANNOT_TELL,
    CLEAR,
    TIMING,
    TRIP,
    WINDOW_S,
    Value,
    cycle,
    told_closed,
    told_open,
    with_rule,
    without_far_cell,
)

from supervisor.protection.rules.knob_speed import KnobSpeedRule
from supervisor.protection.verdict import State, Verdict
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings

Course = Callable[[float], Value]
TOO_FEW = Quality.TOO_FEW
EIGHTH_S = 0.125  # exact in binary


@pytest.fixture
def rule(hut_settings: SupervisorSettings) -> KnobSpeedRule:
    return KnobSpeedRule(hut_settings)


def ramp(per_s: float, start: float = 20.0, from_s: float = 3.0, to_s: float = 1e9) -> Course:
    return lambda t: start + per_s * (min(t, to_s) - from_s if t > from_s else 0.0)


def run(
    rule: KnobSpeedRule,
    until_s: float,
    *,
    closed_at_s: float = 0.0,
    step_s: float = EIGHTH_S,
    **courses: Course,
) -> list[Verdict]:
    """A window every 0.125 s from the closing on."""
    verdicts = []
    for k in range(1, round((until_s - closed_at_s) / step_s) + 1):
        t = closed_at_s + k * step_s
        what: dict[str, Any] = {name: course(t) for name, course in courses.items()}
        verdicts.append(rule.judge(cycle(t, contactor=told_closed(closed_at_s), **what), t))
    return verdicts


def states(verdicts: list[Verdict]) -> set[State]:
    return {verdict.state for verdict in verdicts}


def test_says_who_it_is(rule: KnobSpeedRule) -> None:
    """Function 7 of IEEE C37.2, rate of change."""
    verdict = rule.judge(cycle(0.0, contactor=told_open(-1.0)), 0.0)
    assert (rule.key, rule.function) == ("knob_speed", "7")
    assert rule.remedy.startswith("turn the knob down before closing again, and bring it up slowly")
    assert (verdict.rule, verdict.limit, verdict.unit) == ("knob_speed", 15.0, "A/s")
    assert (verdict.state, verdict.reason) == (CLEAR, "the contactor is open")
    assert (verdict.measured, verdict.since_s) == (None, None)


@pytest.mark.parametrize(
    ("courses", "slope", "unit", "limit", "words"),
    [
        ({"amperes": ramp(16.0)}, 16.0, "A/s", 15.0,
         "current at 100.0 A rises 16.0 A/s, faster than 15.0 A/s"),
        ({"amperes": ramp(15.0078125)}, 15.0078125, "A/s", 15.0,
         "current at 95.0 A rises 15.008 A/s, faster than 15.0 A/s"),
        ({"front": ramp(1 / 64, start=3.25)}, 1 / 64, "V/s", 0.01,
         "front cell at 3.328 V rises 0.016 V/s, faster than 0.010 V/s"),
        ({"far": ramp(1 / 64, start=3.25)}, 1 / 64, "V/s", 0.01,
         "far cell at 3.328 V rises 0.016 V/s, faster than 0.010 V/s"),
        ({"amperes": ramp(20.0), "far": ramp(1 / 32, start=3.25)}, 1 / 32, "V/s", 0.01,
         "far cell at 3.406 V rises 0.031 V/s, faster than 0.010 V/s"),
        ({"amperes": ramp(60.0), "far": ramp(1 / 64, start=3.25)}, 60.0, "A/s", 15.0,
         "current at 320.0 A rises 60.0 A/s, faster than 15.0 A/s"),
    ],
)  # fmt: skip
def test_too_fast_trips_and_the_worst_by_share_is_told(
    rule: KnobSpeedRule,
    courses: dict[str, Course],
    slope: float,
    unit: str,
    limit: float,
    words: str,
) -> None:
    tripped = run(rule, 8.0, **courses)[-1]
    assert tripped.state is TRIP
    assert tripped.measured == pytest.approx(slope, rel=1e-6)
    assert (tripped.unit, tripped.limit) == (unit, limit)
    assert tripped.reason == words


@pytest.mark.parametrize(
    "courses",
    [
        {"amperes": ramp(14.9)},
        {"amperes": ramp(-60.0, start=200.0)},
        {"front": ramp(0.0099, start=3.2)},
        {"far": ramp(-0.5, start=9.0)},
    ],
)
def test_slow_enough_or_falling_is_clear(rule: KnobSpeedRule, courses: dict[str, Course]) -> None:
    verdicts = run(rule, 20.0, **courses)
    assert states(verdicts) == {CLEAR}
    assert verdicts[-1].reason == "nothing rises too fast"
    assert verdicts[-1].since_s is None


@pytest.mark.parametrize(
    ("key", "courses"),
    [
        ("trip_amperes_per_second", {"amperes": ramp(14.0)}),
        ("trip_volts_per_second", {"front": ramp(1 / 128, start=3.25)}),
    ],
)
def test_exactly_at_the_limit_is_within_it(
    hut_settings: SupervisorSettings, key: str, courses: dict[str, Course]
) -> None:
    def last(limit: float) -> Verdict:
        rule = KnobSpeedRule(with_rule(hut_settings, "knob_speed", **{key: limit}))
        return run(rule, 8.0, **courses)[-1]

    slope = last(14.0 if "amperes" in key else 1 / 128).measured
    assert slope is not None
    assert last(slope).state is CLEAR
    assert last(nextafter(slope, 0.0)).state is not CLEAR


def noise_of_ten() -> list[float]:
    """Ten values without mean and slope, rms 1 over n - 2: all of it is residual."""
    raw = [(-1.0) ** k for k in range(10)]
    tilt = sum((k - 4.5) * x for k, x in enumerate(raw)) / 82.5
    rest = [x - tilt * (k - 4.5) for k, x in enumerate(raw)]
    return [x / sqrt(sum(y * y for y in rest) / 8) for x in rest]


@pytest.mark.parametrize(("sigmas", "state"), [(2.99, TIMING), (3.01, TRIP)])
def test_three_sigmas_of_noise_are_taken_off(
    hut_settings: SupervisorSettings, sigmas: float, state: State
) -> None:
    """1 mV of noise, a window a second, ten of them: the published 1.100964e-4 V/s."""
    a_second = hut_settings.loop.model_copy(update={"window_milliseconds": 1000})
    settings = with_rule(
        hut_settings.model_copy(update={"loop": a_second}),
        "knob_speed", over_seconds=10.0, trip_volts_per_second=0.002,
    )  # fmt: skip
    noise, slope = noise_of_ten(), 0.002 + sigmas * 1.100964e-4

    def front(t: float) -> float:
        return 3.2 + slope * t + 0.001 * noise[(round(t) - 2) % 10]

    verdict = run(KnobSpeedRule(settings), 11.0, step_s=1.0, front=front)[-1]
    assert verdict.state is state
    assert verdict.measured == pytest.approx(slope, rel=1e-6)


def test_steeper_but_not_for_sure_is_timing_since_it_began(rule: KnobSpeedRule) -> None:
    verdicts = run(rule, 5.0, amperes=lambda t: 20.0 if t < 4.0 else 60.0)
    timing = [v for v in verdicts if v.state is TIMING]
    assert timing
    assert {v.since_s for v in timing} == {4.25}
    assert timing[0].reason.endswith("A/s, faster than 15.0 A/s, if it is no noise")
    tripped = next(v for v in verdicts if v.state is TRIP)
    assert tripped.since_s == 4.25


def test_timing_ends_with_the_rise(rule: KnobSpeedRule) -> None:
    verdicts = run(rule, 10.0, amperes=lambda t: 20.0 if t < 4.0 else 40.0)
    assert TIMING in states(verdicts)
    assert TRIP not in states(verdicts)
    assert (verdicts[-1].state, verdicts[-1].since_s) == (CLEAR, None)
    assert run(rule, 20.0, closed_at_s=12.0, amperes=ramp(16.0, from_s=15.0))[-1].since_s > 15.0


# --- when it looks


def test_clear_while_the_contactor_is_open(rule: KnobSpeedRule) -> None:
    for k in range(100):
        readings = cycle(k / 8, amperes=10.0 * k, contactor=told_open(0.0))
        assert rule.judge(readings, k / 8).state is CLEAR


def test_the_first_second_after_closing_does_not_count(rule: KnobSpeedRule) -> None:
    """Closed with the knob up: the current jumps at once."""
    verdicts = run(rule, 10.0, amperes=lambda t: 0.0 if t < 0.9 else 100.0)
    assert states(verdicts) == {CLEAR}
    settling = [v for v in verdicts if v.reason == "settling after closing"]
    assert len(settling) == 15, "up to 1.875 s: a second, and half of the two of the stretch"


def test_every_closing_is_looked_at_anew(rule: KnobSpeedRule) -> None:
    assert run(rule, 4.5, amperes=ramp(40.0))[-1].state is TRIP
    assert rule.judge(cycle(4.6, contactor=told_open(4.5)), 4.6).state is CLEAR
    between = cycle(5.01, new=False, contactor=told_closed(5.0))
    assert rule.judge(between, 5.01).reason == "settling after closing"
    again = run(rule, 12.0, closed_at_s=5.0, amperes=ramp(16.0, from_s=8.0))
    assert states(again[:23]) == {CLEAR}
    tripped = [v for v in again if v.state is TRIP]
    assert tripped[0].since_s is not None
    assert tripped[0].since_s > 8.0


def test_a_stretch_longer_than_four_seconds_settles_for_two(
    hut_settings: SupervisorSettings,
) -> None:
    rule = KnobSpeedRule(with_rule(hut_settings, "knob_speed", over_seconds=30.0))
    verdicts = run(rule, 6.0, amperes=ramp(16.0, from_s=0.0))
    assert [v.state for v in verdicts[22:25]] == [CLEAR, TRIP, TRIP]
    assert verdicts[22].reason == "settling after closing"


def test_between_windows_the_last_verdict_stands(rule: KnobSpeedRule) -> None:
    last = run(rule, 6.0, amperes=ramp(16.0))[-1]
    for k in range(100):
        now_s = 6.0 + k / 70
        readings = cycle(now_s, amperes=0.0, new=False, contactor=told_closed(0.0))
        assert rule.judge(readings, now_s) is last


def test_before_the_first_window_it_is_settling(rule: KnobSpeedRule) -> None:
    readings = cycle(9.0, means="none yet", contactor=told_closed(0.0))
    assert rule.judge(readings, 9.0).reason == "settling after closing"


# --- bad readings


@pytest.mark.parametrize("bad", [TOO_FEW, nan])
@pytest.mark.parametrize(
    ("what", "good", "name"),
    [("amperes", 50.0, "current"), ("front", 3.4, "front cell"), ("far", 3.4, "far cell")],
)
def test_a_bad_window_cannot_tell(
    rule: KnobSpeedRule, what: str, good: float, name: str, bad: Value
) -> None:
    verdicts = run(rule, 6.0, **{what: lambda t: bad if t == 5.0 else good})
    assert [v.state for v in verdicts[38:41]] == [CLEAR, CANNOT_TELL, CLEAR]
    quality = "too few" if bad is TOO_FEW else "good"
    assert verdicts[39].reason == f"no good reading, {name}: {quality}"
    assert verdicts[39].since_s is None
    assert verdicts[39].measured == pytest.approx(0.0), "of those that can be told"


def test_too_few_windows_for_a_slope_cannot_tell(rule: KnobSpeedRule) -> None:
    verdicts = run(rule, 20.0, amperes=lambda t: 50.0 if round(t / EIGHTH_S) % 3 == 0 else TOO_FEW)
    good = [v for k, v in enumerate(verdicts, start=1) if k % 3 == 0][10:]
    assert states(good) == {CANNOT_TELL}
    assert good[-1].reason == "too few good means of the current for a slope"


def test_half_of_the_windows_are_enough(rule: KnobSpeedRule) -> None:
    """Of the twenty in two seconds, ten; with one more lost of them, nine."""

    def amperes(t: float, lost: int = 0) -> Value:
        k = round(t / WINDOW_S)
        return TOO_FEW if k % 2 or k == lost else 50.0

    half = run(rule, 10.0, step_s=WINDOW_S, amperes=amperes)
    assert states(half[41::2]) == {CLEAR}
    assert states(half[40::2]) == {CANNOT_TELL}
    rule.judge(cycle(11.0, contactor=told_open(10.0)), 11.0)
    fewer = run(
        rule, 22.0, closed_at_s=12.0, step_s=WINDOW_S, amperes=lambda t: amperes(t, lost=180)
    )
    assert [v.state for v in fewer[59:81:2]] == [CANNOT_TELL] * 10 + [CLEAR]


def test_a_bad_window_ends_no_timing(rule: KnobSpeedRule) -> None:
    def amperes(t: float) -> Value:
        return TOO_FEW if t == 4.25 else 20.0 if t < 4.0 else 100.0

    verdicts = run(rule, 6.0, amperes=amperes)
    assert [v.state for v in verdicts[32:35]] == [TIMING, CANNOT_TELL, TIMING]
    assert next(v for v in verdicts if v.state is TRIP).since_s == 4.125


def test_one_that_is_too_fast_trips_though_another_cannot_tell(rule: KnobSpeedRule) -> None:
    verdicts = run(rule, 8.0, amperes=ramp(16.0), far=lambda _: TOO_FEW)
    assert verdicts[20].state is CANNOT_TELL
    assert verdicts[-1].state is TRIP


def test_nothing_known_at_all(rule: KnobSpeedRule) -> None:
    bad = run(rule, 6.0, **dict.fromkeys(("amperes", "front", "far"), lambda _: TOO_FEW))[-1]
    assert (bad.state, bad.measured, bad.unit) == (CANNOT_TELL, None, "A/s")


def test_without_a_far_cell(hut_settings: SupervisorSettings) -> None:
    rule = KnobSpeedRule(without_far_cell(hut_settings))
    assert states(run(rule, 6.0, far=lambda _: None)) == {CLEAR}  # type: ignore[arg-type, return-value]
