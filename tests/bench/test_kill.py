"""A kill strikes anywhere in a cycle; whatever it meets, the next start is open and whole."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.bench.drill import play
from supervisor.bench.rig import Rig
from supervisor.bench.scenario import Scenario
from supervisor.control.publisher import LastSnapshot
from supervisor.devices.clock import MonotonicClock
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Circuit

CLOSES_AT_S = 1.5


def scenario(*acts: dict[str, Any], seconds: float = 6.0) -> Scenario:
    return Scenario.model_validate(
        {
            "name": "Killed",
            "settings": "",
            "seconds": seconds,
            "plant": {"cells": {"state_of_charge": 0.6}, "supply": {"knob": 0.7}},
            "invariants": "faulty",
            "timeline": ({"at_seconds": CLOSES_AT_S, "close": True}, *acts),
            "expect": {"outcome": "tripped"},
        }
    )


def kill(at_s: float, down_s: float = 0.5) -> dict[str, Any]:
    return {"at_seconds": at_s, "kill": {"down_seconds": down_s}}


@given(kills=st.lists(st.tuples(st.floats(0, 5.5), st.floats(0, 2)), min_size=1, max_size=4))
@settings(max_examples=25)
def test_wherever_it_strikes(
    hut_settings: SupervisorSettings, kills: list[tuple[float, float]]
) -> None:
    rig, _, outcome = play(scenario(*(kill(*each) for each in kills)), hut_settings)
    assert rig.problems == []
    assert rig.was_killed
    was_closed = any(at_s > CLOSES_AT_S + 0.5 for at_s, _ in kills)
    alone = len(kills) == 1
    assert outcome == "tripped" or not (was_closed and alone)
    assert not rig.world.plant.contactor_closed


def test_in_the_midst_of_closing_every_millisecond(hut_settings: SupervisorSettings) -> None:
    """The latch is armed before the coil goes on: no kill leaves a bank that was closed clear."""
    ends = set()
    for k in range(40):
        rig, witness, outcome = play(
            scenario(kill(CLOSES_AT_S + k * 0.001), seconds=4.0), hut_settings
        )
        pulled = any(
            change.level and change.pin == hut_settings.contactor.pin
            for change in rig.world.pin_factory.levels
        )
        assert outcome == "tripped" if pulled else not witness.was_closed
        ends.add((pulled, outcome))
    assert {pulled for pulled, _ in ends} == {True, False}


def test_after_the_end_of_the_scenario_nothing_is_killed(
    hut_settings: SupervisorSettings,
) -> None:
    rig, _, outcome = play(scenario(kill(3.99), kill(400.0), seconds=3.0), hut_settings)
    assert outcome == "closed"
    assert not rig.was_killed


def test_a_daemon_in_real_time_is_not_killed_by_its_own_bench(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    rig = Rig(
        scenario(kill(0.0)),
        hut_settings,
        clock=MonotonicClock(),
        state_dir=tmp_path,
        publisher=LastSnapshot(),
    )
    try:
        rig.cycle()
        assert not rig.was_killed
        assert "drill and demo only" in rig.problems[0]
        assert rig.loop.guard.circuit is not Circuit.CLOSED
    finally:
        rig.loop.close()


def test_a_stall_is_no_way_around_it(hut_settings: SupervisorSettings) -> None:
    stall = {"kind": "stall", "seconds": 1.0, "whole_process": True}
    acts = ({"at_seconds": 2.5, "fault": stall}, kill(2.9, 0.01))
    rig, witness, outcome = play(scenario(*acts), hut_settings)
    assert outcome == "tripped"
    assert witness.lockout
    assert rig.problems == []


@pytest.mark.parametrize("wrong", [True, {"down_seconds": -1}, {"down_seconds": "soon"}, {"s": 1}])
def test_malformed(wrong: Any) -> None:
    with pytest.raises(ValueError, match="kill"):
        scenario({"at_seconds": 1.0, "kill": wrong})
