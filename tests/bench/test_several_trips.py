"""With several trips in a run the last is told and judged, with times that are its own."""

from typing import Any

import pytest

from supervisor.bench.drill import play, run
from supervisor.bench.scenario import Scenario
from supervisor.settings.model import SupervisorSettings

LEAD_OFF = {"kind": "lead_open", "channel": "front_cell"}
FIRST = (
    {"at_seconds": 1.5, "close": True},
    {"at_seconds": 4.0, "fault": LEAD_OFF},
    {"at_seconds": 6.0, "clear": "lead_open"},
    {"at_seconds": 8.0, "reset": "the lead is on again"},
    {"at_seconds": 9.0, "close": True},
)


def scenario(*acts: dict[str, Any], within_s: float, tripped_by: str) -> Scenario:
    return Scenario.model_validate(
        {
            "name": "Two trips",
            "settings": "",
            "seconds": 40,
            "plant": {"cells": {"state_of_charge": 0.6}, "supply": {"knob": 0.7}},
            "timeline": (*FIRST, *acts),
            "expect": {
                "outcome": "tripped",
                "tripped_by": tripped_by,
                "within_seconds": within_s,
            },
        }
    )


def test_the_second_is_slow(hut_settings: SupervisorSettings) -> None:
    """A welded contact: told to open by the button, and current flows until the mains opens."""
    acts = (
        {"at_seconds": 15.0, "fault": {"kind": "contactor_welded"}},
        {"at_seconds": 20.0, "fault": {"kind": "stop_button"}},
    )
    slow = scenario(*acts, within_s=0.35, tripped_by="external")
    mains = hut_settings.mains_contactor
    assert mains
    late = hut_settings.model_copy(
        update={"mains_contactor": mains.model_copy(update={"opens": "failed_opening"})}
    )
    result = run(slow, late)
    assert result.trips == 2
    assert result.trip_at_s
    assert 20 < result.trip_at_s < 20.5
    assert result.response_s
    assert 0.5 < result.response_s < 2
    assert any("expected 0.35 s at most" in failure for failure in result.failures)


def test_the_second_is_like_the_first(hut_settings: SupervisorSettings) -> None:
    acts = ({"at_seconds": 20.0, "fault": LEAD_OFF},)
    result = run(scenario(*acts, within_s=1.0, tripped_by="sensing"), hut_settings)
    assert result.passed, result.failures
    assert result.trip_at_s
    assert result.trip_at_s > 20


def test_each_trip_has_its_own_times(hut_settings: SupervisorSettings) -> None:
    acts = ({"at_seconds": 20.0, "fault": LEAD_OFF},)
    _, witness, _ = play(scenario(*acts, within_s=1.0, tripped_by="sensing"), hut_settings)
    first, second = witness.trips
    assert first.fault_at_s == pytest.approx(4.0, abs=0.002)
    assert second.fault_at_s == pytest.approx(20.0, abs=0.002)
    for trip in witness.trips:
        assert trip.fault_at_s is not None
        assert trip.stopped_at_s is not None
        assert 0 < trip.stopped_at_s - trip.fault_at_s < 1
