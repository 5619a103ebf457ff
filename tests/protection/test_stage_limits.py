"""Limits of a stage: 120 A in the taper, 60 A and 3.58 V in the hold, each for 5 s."""

from collections import deque
from collections.abc import Iterable
from math import nan
from typing import Any

import pytest
from cycles import (
    CANNOT_TELL,
    CLEAR,
    TIMING,
    TRIP,
    Value,
    cycle,
    states,
    told_closed,
    told_open,
    without_far_cell,
)
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.rules.stage_limits import StageLimitsRule
from supervisor.protection.verdict import Verdict
from supervisor.readings import ContactorState, Quality
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import HoldLimits, StageLimits, TaperLimits

STEP_S = 0.125
BAD = Quality.NO_ANSWER
BULK_V, TAPER_V, HOLD_V = 3.35, 3.45, 3.54
OPEN, CLOSED = told_open(-9.0), told_closed(-9.0)


def limited(settings: SupervisorSettings, **limits: Any) -> SupervisorSettings:
    block = StageLimits(**limits)
    protection = settings.protection.model_copy(update={"stage_limits": block})
    return settings.model_copy(update={"protection": protection})


class Fed:
    """The rule, fed window by window."""

    def __init__(self, settings: SupervisorSettings) -> None:
        self.rule = StageLimitsRule(settings)
        self.now_s = 0.0

    def take(
        self, volts: Value, amperes: Value, contactor: ContactorState = CLOSED, **what: Any
    ) -> Verdict:
        self.now_s += STEP_S
        known = {"front": volts, "far": volts, "amperes": amperes, "contactor": contactor} | what
        return self.rule.judge(cycle(self.now_s, **known), self.now_s)

    def run(self, volts: Value, amperes: Value, for_s: float, **what: Any) -> list[Verdict]:
        return [self.take(volts, amperes, **what) for _ in range(round(for_s / STEP_S))]


ALL = {
    "taper": TaperLimits(trip_amperes=120.0),
    "hold": HoldLimits(trip_amperes=60.0, trip_volts=3.58),
}


@pytest.fixture
def fed(hut_settings: SupervisorSettings) -> Fed:
    return Fed(limited(hut_settings, **ALL))


def trips_s(verdicts: Iterable[Verdict]) -> float:
    return states(verdicts).index(TRIP) * STEP_S


def test_what_it_is(fed: Fed) -> None:
    assert (fed.rule.key, fed.rule.function) == ("stage_limits", "76, 59")
    assert "knob" in fed.rule.remedy


# Each in its stage only


@pytest.mark.parametrize(
    ("volts", "amperes", "limit", "unit"),
    [(TAPER_V, 120.1, 120.0, "A"), (HOLD_V, 60.1, 60.0, "A"), (3.581, 20.0, 3.58, "V")],
)
def test_trips_after_its_time(
    fed: Fed, volts: float, amperes: float, limit: float, unit: str
) -> None:
    verdicts = fed.run(volts, amperes, 6.0)
    assert trips_s(verdicts) == 5.0
    assert set(states(verdicts)) == {TIMING, TRIP}
    tripped = verdicts[-1]
    assert (tripped.limit, tripped.unit, tripped.since_s) == (limit, unit, STEP_S)


@pytest.mark.parametrize(
    ("volts", "amperes"),
    [(BULK_V, 500.0), (TAPER_V, 120.0), (TAPER_V, 61.0), (HOLD_V, 60.0), (3.58, 20.0)],
)
def test_clear_for_ever(fed: Fed, volts: float, amperes: float) -> None:
    assert set(states(fed.run(volts, amperes, 60.0))) == {CLEAR}


def test_in_words(fed: Fed) -> None:
    assert fed.take(BULK_V, 100.0).reason == "bulk: no limit"
    fed.run(TAPER_V, 100.0, 6.0)
    assert fed.take(TAPER_V, 100.0).reason == "taper: not above 120.0 A"
    fed.run(HOLD_V, 125.0, 4.0)
    told = fed.take(HOLD_V, 125.0)
    assert told.reason == "current 125.0 A: in the taper above 120.0 A for 4.0 s"
    assert fed.take(HOLD_V, 125.0, OPEN).reason == "the contactor is open"


@pytest.mark.parametrize("far", [True, False])
def test_any_cell_trips_on_its_voltage(fed: Fed, far: bool) -> None:
    high, low = 3.59, 3.50
    verdicts = [
        fed.take(0.0, 20.0, front=low if far else high, far=high if far else low) for _ in range(41)
    ]
    assert verdicts[-1].state is TRIP
    assert verdicts[-1].reason == (
        f"{'far' if far else 'front'} cell 3.590 V: in the hold above 3.580 V for 5.0 s"
    )


def test_the_limit_nearest_to_a_trip_is_told(fed: Fed) -> None:
    assert fed.take(3.57, 10.0).unit == "V"
    assert fed.take(3.53, 59.9).unit == "A"


def test_a_single_cell(hut_settings: SupervisorSettings) -> None:
    fed = Fed(limited(without_far_cell(hut_settings), **ALL))
    assert trips_s(fed.run(3.59, 20.0, 6.0, far=None)) == 5.0


# One limit only


def test_the_limit_of_the_taper_holds_in_the_hold(hut_settings: SupervisorSettings) -> None:
    fed = Fed(limited(hut_settings, taper=ALL["taper"]))
    assert set(states(fed.run(HOLD_V, 120.0, 60.0))) == {CLEAR}
    assert trips_s(fed.run(HOLD_V, 120.1, 6.0)) == 5.0


def test_with_a_limit_on_the_voltage_only_the_hold_keeps_that_of_the_taper(
    hut_settings: SupervisorSettings,
) -> None:
    fed = Fed(limited(hut_settings, taper=ALL["taper"], hold=HoldLimits(trip_volts=3.58)))
    assert set(states(fed.run(HOLD_V, 120.0, 60.0))) == {CLEAR}
    assert trips_s(fed.run(HOLD_V, 120.1, 6.0)) == 5.0
    fed.run(HOLD_V, 100.0, 1.0)
    assert trips_s(fed.run(3.59, 100.0, 6.0)) == 5.0


def test_the_hold_alone_leaves_the_taper_without(hut_settings: SupervisorSettings) -> None:
    fed = Fed(limited(hut_settings, hold=ALL["hold"]))
    assert set(states(fed.run(TAPER_V, 500.0, 60.0))) == {CLEAR}
    assert trips_s(fed.run(HOLD_V, 500.0, 15.0)) == 5.0 + 5.0, "after the 5 s up to the hold"


def test_a_limit_of_the_hold_above_that_of_the_taper_counts(
    hut_settings: SupervisorSettings,
) -> None:
    own = HoldLimits(trip_amperes=125.0)
    fed = Fed(limited(hut_settings, taper=ALL["taper"], hold=own))
    assert set(states(fed.run(HOLD_V, 124.0, 60.0))) == {CLEAR}


# From stage to stage


def test_coming_into_a_stage_leaves_its_time_to_turn_down(fed: Fed) -> None:
    """80 A are right in the taper: from the first second of the hold on there are 5 s."""
    fed.run(TAPER_V, 80.0, 10.0)
    verdicts = fed.run(HOLD_V, 80.0, 15.0)
    assert states(verdicts).index(TIMING) * STEP_S == 5.0
    assert trips_s(verdicts) == 10.0


def test_going_up_keeps_the_time(fed: Fed) -> None:
    """130 A are too much in the taper, and in the hold: 5 s in all."""
    fed.run(TAPER_V, 80.0, 1.0)
    fed.run(HOLD_V, 80.0, 2.0)
    verdicts = fed.run(HOLD_V, 130.0, 6.0)
    assert trips_s(verdicts) == 5.0
    assert "in the hold" in verdicts[-1].reason


def test_falling_back_begins_the_time_anew(fed: Fed) -> None:
    """130 A from 3 s before it falls back to the taper: 5 s from there on."""
    fed.run(HOLD_V, 50.0, 1.0)
    fed.run(TAPER_V, 50.0, 118.0)
    before = fed.run(TAPER_V, 130.0, 2.0)
    after = fed.run(TAPER_V, 130.0, 8.0)
    assert states(before) == [TIMING] * 16
    assert trips_s(after) == 5.0


def test_back_in_the_bulk_nothing_is_kept(fed: Fed) -> None:
    fed.run(TAPER_V, 50.0, 1.0)
    fed.run(BULK_V, 50.0, 117.0)
    fed.run(BULK_V, 130.0, 4.0)
    assert fed.take(BULK_V, 130.0).state is CLEAR
    assert set(states(fed.run(BULK_V, 500.0, 60.0))) == {CLEAR}


def test_a_dip_does_not_save_it(fed: Fed) -> None:
    """4 windows of 5 confirm: one below changes nothing."""
    verdicts = [fed.take(TAPER_V, 110.0 if k % 5 == 4 else 130.0) for k in range(60)]
    assert trips_s(verdicts) <= 5.0 + STEP_S
    assert verdicts[39].state is TIMING


# What cannot be told


@pytest.mark.parametrize("odd", [BAD, nan, Quality.TOO_FEW])
def test_without_a_good_reading_it_cannot_tell(fed: Fed, odd: Value) -> None:
    fed.run(HOLD_V, 50.0, 1.0)
    assert fed.take(HOLD_V, odd).state is CANNOT_TELL
    assert fed.take(HOLD_V, odd).reason.startswith("no good reading, current: ")
    assert fed.take(0.0, 50.0, front=HOLD_V, far=odd).reason.startswith("no good reading, far cell")
    assert fed.take(HOLD_V, 50.0).state is CLEAR


def test_what_cannot_be_told_neither_ends_nor_completes_a_time(fed: Fed) -> None:
    fed.run(TAPER_V, 130.0, 4.0)
    assert set(states(fed.run(TAPER_V, BAD, 10.0))) == {CANNOT_TELL}
    assert fed.take(TAPER_V, 130.0).state is TRIP


def test_the_cell_that_tells_trips_beside_one_that_does_not(fed: Fed) -> None:
    verdicts = [fed.take(0.0, 20.0, front=BAD, far=3.59) for _ in range(41)]
    assert set(states(verdicts[:-1])) == {CANNOT_TELL}
    assert verdicts[-1].state is TRIP


def test_a_trip_outlasts_a_bad_reading(fed: Fed) -> None:
    fed.run(HOLD_V, 80.0, 6.0)
    assert states(fed.run(HOLD_V, BAD, 1.0)) == [TRIP] * 8


def test_before_the_first_window(fed: Fed) -> None:
    verdict = fed.rule.judge(cycle(0.0, means="none yet"), 0.0)
    assert (verdict.state, verdict.reason) == (CLEAR, "the contactor is open")


def test_between_windows_the_last_verdict_stands(fed: Fed) -> None:
    last = fed.take(HOLD_V, 80.0)
    assert fed.take(HOLD_V, 0.0, new=False) is last


# Open


def test_open_it_is_clear_at_once_and_forgets(fed: Fed) -> None:
    fed.run(HOLD_V, 80.0, 6.0)
    assert fed.take(HOLD_V, 80.0, OPEN, new=False).state is CLEAR
    assert set(states(fed.run(3.7, 500.0, 60.0, contactor=OPEN))) == {CLEAR}
    assert trips_s(fed.run(HOLD_V, 80.0, 6.0)) == 5.0


values = st.one_of(st.floats(3.2, 3.7), st.sampled_from([BAD, nan]))
currents = st.one_of(st.floats(-50, 300), st.sampled_from([BAD, nan]))
series = st.lists(
    st.tuples(values, currents, st.booleans(), st.sampled_from([1, 8, 60, 1000])), max_size=10
)


@given(series)
def test_trips_only_closed_and_above_a_limit_for_its_time(
    hut_settings: SupervisorSettings, series: list[tuple[Value, Value, bool, int]]
) -> None:
    """4 of 5 readings confirm: of the 41 in 5 s 32 are above some limit, or cannot be told."""
    fed, recent = Fed(limited(hut_settings, **ALL)), deque[bool](maxlen=41)
    was_tripped = False
    for volts, amperes, closed, count in series:
        is_over = any(
            isinstance(value, Quality) or not value <= lowest_limit
            for value, lowest_limit in ((amperes, 60.0), (volts, 3.58))
        )
        for _ in range(count):
            verdict = fed.take(volts, amperes, CLOSED if closed else OPEN)
            if not closed:
                assert verdict.state is CLEAR
                recent.clear()
            recent.append(is_over)
            if verdict.state is TRIP and not was_tripped:
                assert (len(recent), sum(recent) >= 32) == (41, True)
            was_tripped = verdict.state is TRIP
