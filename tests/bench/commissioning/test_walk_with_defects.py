"""A walk with any planted defect comes to its end, and tries nothing that a failed step forbids."""

from collections.abc import Sequence
from pathlib import Path

import pytest
from commissioned import told, walk
from long_tests import long_but_for

from supervisor.bench.commissioning.defects import DEFECTS, Defect
from supervisor.bench.commissioning.hands import SimulatedHands
from supervisor.commissioning.deeds import Flow
from supervisor.commissioning.walk import Walk
from supervisor.control.build_record import StepDone, first_to_pass
from supervisor.control.build_steps import BY_KEY, STEPS, needed
from supervisor.settings.model import SupervisorSettings

# Those that claim pins, behind whatever has left them claimed. Whole walks of all defects take
# minutes; those that take long (a trip at every limit) differ from the sound one in nothing here.
PINS = ("parts", "drive", "auxiliary", "release", "kill", "stop_button", "second_output", "panel")
SHORT = ("gain-off", "contactor-welded", "auxiliary-stuck")
WHOLE = (
    "gain-off", "lead-reversed", "contactor-welded", "active-low", "steady-high", "never-closed",
    "auxiliary-follows-coil", "auxiliary-stuck", "converter-absent",
)  # fmt: skip


def steps(keys: Sequence[str], settings: SupervisorSettings) -> list[str]:
    return [key for key in keys if BY_KEY[key].is_needed(settings)]


@pytest.mark.parametrize("name", DEFECTS)
def test_every_step_with_pins_can_be_tried_after_every_other(
    hut_settings: SupervisorSettings, tmp_path: Path, name: str
) -> None:
    one = walk(hut_settings, tmp_path, DEFECTS[name])
    keys = steps([*PINS, *PINS], one.settings)
    one.go([BY_KEY[key] for key in keys])
    assert {"stop_button", "second_output", "panel"} <= {done.step for done in one.done}


@pytest.mark.parametrize("name", [long_but_for(name, SHORT) for name in WHOLE])
def test_the_whole_walk_comes_to_its_end(
    hut_settings: SupervisorSettings, tmp_path: Path, name: str
) -> None:
    """Each step is tried, or a step that it needs has not passed."""
    one = walk(hut_settings, tmp_path, DEFECTS[name])
    assert not one.go()
    named = {finding.defect for done in one.done for finding in done.findings}
    assert DEFECTS[name].named in named, told(one.done)
    tried = {done.step for done in one.done}
    for step in needed(one.settings):
        assert (step.key in tried) is (first_to_pass(step, one.settings, one.lines) is None)


@pytest.mark.parametrize("name", ["contactor-welded", "active-low", "auxiliary-follows-coil"])
def test_no_current_is_asked_for_behind_a_contactor_that_is_not_to_be_trusted(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    one, flows, said = watched(hut_settings, tmp_path, monkeypatch, DEFECTS[name])
    one.go()
    one.go([BY_KEY["current"], BY_KEY["trip_overcurrent"], BY_KEY["kill"]])
    assert not flows
    assert {done.step for done in one.done} & {"front_cell", "leads", "panel"}
    assert not {done.step for done in one.done} & {"release", "kill", "current", "trip_balance"}
    first = "auxiliary" if name == "auxiliary-follows-coil" else "drive"
    lines = [text for text in said if "not tried" in text]
    assert f"current: not tried: first {first} has to pass" in lines
    assert f"kill: not tried: first {first} has to pass" in lines


def watched(
    settings: SupervisorSettings, folder: Path, monkeypatch: pytest.MonkeyPatch, defect: Defect
) -> tuple[Walk, list[Flow], list[str]]:
    one = walk(settings, folder, defect)
    flows: list[Flow] = []
    said: list[str] = []
    does = SimulatedHands.does

    def watched_does(hands: SimulatedHands, deed: object) -> None:
        if isinstance(deed, Flow):
            flows.append(deed)
        does(hands, deed)  # type: ignore[arg-type]

    monkeypatch.setattr(SimulatedHands, "does", watched_does)
    monkeypatch.setattr(SimulatedHands, "tells", lambda _hands, text: said.append(text))
    return one, flows, said


def test_a_step_stands_behind_those_that_it_needs() -> None:
    """In the order of a walk."""
    order = [step.key for step in STEPS]
    for step in STEPS:
        assert all(order.index(key) < order.index(step.key) for key in step.needs)


def test_a_slow_release_is_no_pin_that_keeps_its_level(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    one = walk(hut_settings, tmp_path, DEFECTS["slow-release"])
    keys = ("drive", "auxiliary", "release", "kill")
    assert not one.go([BY_KEY[key] for key in keys])
    assert passed(one.done) == {"drive": True, "auxiliary": True, "release": False, "kill": True}


def passed(done: Sequence[StepDone]) -> dict[str, bool]:
    return {one.step: one.passed for one in done}
