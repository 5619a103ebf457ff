"""What the simulated operator was refused is told to who watches: the log of a run, the demo."""

import logging
from pathlib import Path
from typing import Any

import pytest

from supervisor.bench.rig import Rig
from supervisor.bench.scenario import Scenario
from supervisor.control.publisher import LastSnapshot
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock

LEAD_OFF = {"at_seconds": 1.0, "fault": {"kind": "lead_open", "channel": "front_cell"}}


def played(hut: SupervisorSettings, folder: Path, *acts: dict[str, Any], until_s: float) -> Rig:
    scenario = Scenario.model_validate(
        {
            "name": "Refused",
            "settings": "",
            "seconds": 60,
            "plant": {"cells": {"state_of_charge": 0.9}},
            "timeline": acts,
            "expect": {"outcome": "open"},
        }
    )
    rig = Rig(
        scenario, hut, clock=SimulatedClock(), state_dir=folder, publisher=LastSnapshot()
    )  # fmt: skip
    try:
        while rig.elapsed_s < until_s:
            rig.cycle()
    finally:
        rig.loop.close()
    return rig


def warned(caplog: pytest.LogCaptureFixture) -> list[str]:
    return [record.getMessage() for record in caplog.records if record.name == Rig.__module__]


def test_a_refused_close_is_logged_with_its_reason(
    hut_settings: SupervisorSettings, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.WARNING):
        rig = played(
            hut_settings, tmp_path, LEAD_OFF, {"at_seconds": 9.0, "close": True}, until_s=10.0
        )
    refused = [reply for reply in rig.operator.replies if not reply.done]
    assert len(refused) == 1
    assert warned(caplog) == [f"simulated operator: close refused: {refused[0].message}"]


def test_it_is_among_what_the_demo_says(hut_settings: SupervisorSettings, tmp_path: Path) -> None:
    rig = played(
        hut_settings,
        tmp_path,
        LEAD_OFF,
        {"at_seconds": 9.0, "close": True, "say": "I close."},
        until_s=10.0,
    )
    message = rig.operator.replies[0].message
    (_, first), (at_s, second) = rig.said
    assert first == "I close."
    assert second == f"(Refused, close: {message})"
    assert 9.0 <= at_s < 9.1
    assert "front cell" in second


def test_what_else_is_asked_for_as_well(
    hut_settings: SupervisorSettings, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.WARNING):
        played(
            hut_settings,
            tmp_path,
            {"at_seconds": 1.0, "profile": "no_such_job"},
            {"at_seconds": 2.0, "reset": "there is nothing to reset"},
            until_s=4.0,
        )
    first, second = warned(caplog)
    assert first.startswith("simulated operator: profile no_such_job refused: ")
    assert second.startswith("simulated operator: reset refused: ")


def test_what_is_done_is_not_told_as_refused(
    hut_settings: SupervisorSettings, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.WARNING):
        rig = played(hut_settings, tmp_path, {"at_seconds": 12.0, "close": True}, until_s=14.0)
    assert [reply.done for reply in rig.operator.replies] == [True]
    assert warned(caplog) == []
    assert rig.said == []
