"""Knob speed on the plant: a careful hand never trips it, a jump always does."""

from random import Random

import hypothesis
from cycles import CLEAR, TRIP, WINDOW_S, cycle, told_closed
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.rules.knob_speed import KnobSpeedRule
from supervisor.protection.verdict import State
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.plant import Plant


def turned(
    settings: SupervisorSettings, to: float, over_s: float, soc: float, seed: int
) -> set[State]:
    """The plant's true means with noise, the knob turned up from 0 at 5 s; until 8 s after."""
    noise = Random(seed)
    plant = Plant(settings, PlantSettings.model_validate({"cells": {"state_of_charge": soc}}))
    plant.change(0.0, plant._close_for_good)
    rule, seen = KnobSpeedRule(settings), set()
    for k in range(1, round((13.0 + over_s) / WINDOW_S)):
        now_s = k * WINDOW_S
        if k == 50:
            plant.turn_knob(to, now_s, over_s)
        plant.advance(now_s)
        readings = cycle(
            now_s,
            front=plant.cell_v(0) + noise.gauss(0, 125e-6),
            far=plant.cell_v(-1) + noise.gauss(0, 125e-6),
            amperes=plant.current_a + noise.gauss(0, 0.1),
            contactor=told_closed(0.0),
        )
        seen.add(rule.judge(readings, now_s).state)
    return seen


@hypothesis.settings(max_examples=8)
@given(over_s=st.floats(30, 40), soc=st.floats(0.1, 0.98), seed=st.integers(0, 99))
def test_half_a_minute_from_nothing_never_trips(
    hut_settings: SupervisorSettings, over_s: float, soc: float, seed: int
) -> None:
    assert turned(hut_settings, 0.8, over_s, soc, seed) == {CLEAR}


@hypothesis.settings(max_examples=25)
@given(over_s=st.floats(0, 1), soc=st.floats(0.1, 0.98), seed=st.integers(0, 99))
def test_a_jump_within_a_second_always_trips(
    hut_settings: SupervisorSettings, over_s: float, soc: float, seed: int
) -> None:
    assert TRIP in turned(hut_settings, 0.8, over_s, soc, seed)
