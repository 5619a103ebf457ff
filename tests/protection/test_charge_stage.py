"""Stages of the charge: taper from 3.42 V, hold from 3.52 V; up in 5 s, down in 120 s, 20 mV."""

from itertools import pairwise
from math import nan

import pytest
from cycles import Value, cycle, told_closed, told_open, without_far_cell
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.charge_stage import ORDER, TRANSITIONS, ChargeStage, drawing
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Stage

NONE, BULK, TAPER, HOLD = Stage.NONE, Stage.BULK, Stage.TAPER, Stage.HOLD
BAD = Quality.NO_ANSWER
STEP_S = 0.125


class Fed:
    """A stage, fed with the highest cell's voltage window by window."""

    def __init__(self, settings: SupervisorSettings) -> None:
        self.stage = ChargeStage(settings)
        self.now_s = 0.0

    def take(self, volts: Value, *, closed: bool = True, new: bool = True) -> Stage:
        self.now_s += STEP_S
        contactor = told_closed(-9.0) if closed else told_open(-9.0)
        readings = cycle(self.now_s, front=volts, far=volts, contactor=contactor, new=new)
        return self.stage.take(readings, self.now_s)

    def run(self, volts: Value, for_s: float, *, closed: bool = True) -> list[Stage]:
        return [self.take(volts, closed=closed) for _ in range(round(for_s / STEP_S))]


@pytest.fixture
def fed(hut_settings: SupervisorSettings) -> Fed:
    return Fed(hut_settings)


def before(stages: list[Stage], stage: Stage) -> float:
    """Seconds until it is this stage, of readings that come every STEP_S."""
    return stages.index(stage) * STEP_S


# Closing and opening


@pytest.mark.parametrize(
    ("volts", "stage"),
    [(3.30, BULK), (3.4199, BULK), (3.42, TAPER), (3.5199, TAPER), (3.52, HOLD), (3.60, HOLD)],
)
def test_the_right_stage_at_once_on_closing(fed: Fed, volts: float, stage: Stage) -> None:
    assert fed.run(volts, 1.0, closed=False) == [NONE] * 8
    assert fed.take(volts) is stage
    assert fed.stage.since_s == fed.now_s


def test_none_at_once_on_opening(fed: Fed) -> None:
    fed.run(3.55, 10.0)
    assert fed.take(3.55, closed=False, new=False) is NONE
    assert fed.stage.since_s == fed.now_s
    assert fed.take(BAD, closed=False) is NONE


def test_what_was_under_way_before_an_opening_is_forgotten(fed: Fed) -> None:
    fed.run(3.40, 1.0)
    fed.run(3.45, 4.75)
    fed.take(3.40, closed=False)
    assert fed.take(3.40) is BULK
    assert before(fed.run(3.45, 10.0), TAPER) == 5.0


def test_closed_without_a_reading_there_is_no_stage_yet(fed: Fed) -> None:
    assert fed.run(BAD, 5.0) == [NONE] * 40
    assert fed.take(3.45) is TAPER


# Up and down


@pytest.mark.parametrize(
    ("from_v", "to_v", "stage"), [(3.40, 3.42, TAPER), (3.45, 3.52, HOLD), (3.40, 3.52, HOLD)]
)
def test_up_after_5_s(fed: Fed, from_v: float, to_v: float, stage: Stage) -> None:
    fed.run(from_v, 2.0)
    stages = fed.run(to_v, 8.0)
    assert before(stages, stage) == 5.0
    assert set(stages) == {stages[0], stage}
    assert fed.stage.since_s == 2.0 + STEP_S + 5.0


@pytest.mark.parametrize(
    ("from_v", "to_v", "stage"), [(3.45, 3.3999, BULK), (3.55, 3.4999, TAPER), (3.55, 3.35, BULK)]
)
def test_down_after_two_minutes(fed: Fed, from_v: float, to_v: float, stage: Stage) -> None:
    fed.run(from_v, 10.0)
    stages = fed.run(to_v, 130.0)
    assert before(stages, stage) == 120.0
    assert set(stages) == {stages[0], stage}


@pytest.mark.parametrize(("from_v", "to_v"), [(3.42, 3.4001), (3.52, 3.5001)])
def test_within_the_hysteresis_it_stays(fed: Fed, from_v: float, to_v: float) -> None:
    stage = fed.take(from_v)
    assert set(fed.run(to_v, 1000.0)) == {stage}


def test_one_reading_back_begins_the_time_anew(fed: Fed) -> None:
    fed.run(3.40, 1.0)
    fed.run(3.45, 4.875)
    fed.take(3.41)
    assert before(fed.run(3.45, 10.0), TAPER) == 5.0
    fed.run(3.35, 119.0)
    fed.take(3.41)
    assert before(fed.run(3.35, 130.0), BULK) == 120.0


@pytest.mark.parametrize("boundary_v", [3.42, 3.52])
@pytest.mark.parametrize("period_s", [0.25, 2.0, 20.0, 200.0])
def test_steps_of_a_few_millivolts_at_a_boundary_cause_no_flutter(
    fed: Fed, boundary_v: float, period_s: float
) -> None:
    """The knob moves the voltage by 8 mV to and fro, for an hour."""
    stages = [fed.take(boundary_v - 0.05)]
    while fed.now_s < 3600:
        stages += fed.run(boundary_v + 0.004, period_s / 2)
        stages += fed.run(boundary_v - 0.004, period_s / 2)
    assert sum(a is not b for a, b in pairwise(stages)) <= 1


def test_flickering_about_the_upper_boundary_it_has_passed_the_lower_one(fed: Fed) -> None:
    """A full bank that comes up within a second: with neither limit in force it would be a risk."""
    fed.run(3.40, 1.0)
    stages = [fed.take(3.52 + (0.001 if k % 2 else -0.001)) for k in range(80)]
    assert before(stages, TAPER) == 5.0
    assert HOLD not in stages


def test_flickering_about_the_lower_boundary_it_has_left_the_upper_one(fed: Fed) -> None:
    fed.run(3.55, 1.0)
    stages = [fed.take(3.40 + (0.001 if k % 2 else -0.001)) for k in range(8 * 130)]
    assert before(stages, TAPER) == 120.0
    assert BULK not in stages


def test_through_the_taper_to_the_hold_each_after_its_own_5_s(fed: Fed) -> None:
    fed.run(3.40, 1.0)
    fed.run(3.45, 3.0)
    stages = fed.run(3.53, 8.0)
    assert (before(stages, TAPER), before(stages, HOLD)) == (2.0, 5.0)


# What cannot be told


@pytest.mark.parametrize("odd", [BAD, nan, Quality.CLIPPED])
@pytest.mark.parametrize("volts", [3.35, 3.45, 3.55])
def test_what_cannot_be_told_changes_nothing(fed: Fed, volts: float, odd: Value) -> None:
    stage = fed.take(volts)
    since_s = fed.stage.since_s
    assert set(fed.run(odd, 300.0)) == {stage}
    assert fed.stage.since_s == since_s


def test_a_reading_that_is_not_new_changes_nothing(fed: Fed) -> None:
    fed.take(3.40)
    assert {fed.take(3.60, new=False) for _ in range(800)} == {BULK}


@pytest.mark.parametrize(("front", "far"), [(3.53, 3.35), (3.35, 3.53), (3.53, BAD), (BAD, 3.53)])
def test_the_highest_cell_that_tells_counts(
    hut_settings: SupervisorSettings, front: Value, far: Value
) -> None:
    stage = ChargeStage(hut_settings)
    assert stage.take(cycle(1.0, front=front, far=far), 1.0) is HOLD


def test_a_single_cell(hut_settings: SupervisorSettings) -> None:
    stage = ChargeStage(without_far_cell(hut_settings))
    assert stage.take(cycle(1.0, front=3.45, far=None), 1.0) is TAPER


def test_before_the_first_window_there_is_none(hut_settings: SupervisorSettings) -> None:
    stage = ChargeStage(hut_settings)
    assert stage.take(cycle(1.0, means="none yet"), 1.0) is NONE


def test_the_drawing_has_every_transition() -> None:
    rows = drawing().splitlines()[2:]
    assert len(rows) == len(TRANSITIONS)
    assert rows[0].startswith("| none | bulk |")


# Invariants


@given(
    st.lists(st.tuples(st.floats(3.2, 3.7), st.sampled_from([1, 3, 20, 41, 100, 970])), max_size=12)
)
def test_never_up_in_less_than_5_s_never_down_in_less_than_two_minutes(
    hut_settings: SupervisorSettings, stretches: list[tuple[float, int]]
) -> None:
    """Against the readings themselves: each change has all its time of readings beyond."""
    fed, seen = Fed(hut_settings), []
    from_v = {TAPER: 3.42, HOLD: 3.56 - 0.04}
    for volts, count in stretches:
        for _ in range(count):
            old, new = fed.stage.stage, fed.take(volts)
            seen.append(volts)
            if NONE in (old, new) or old is new:
                continue
            up = ORDER.index(new) > ORDER.index(old)
            beyond = seen[-41:] if up else seen[-961:]
            assert len(beyond) == (41 if up else 961)
            if up:
                assert min(beyond) >= from_v[new]
            else:
                left = HOLD if new is TAPER else TAPER
                assert max(beyond) < from_v[left] - 0.02
