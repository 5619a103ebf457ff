"""A sound build passes every step; each planted defect is found at its step, by its name."""

from pathlib import Path

import pytest
from commissioned import behind, told, walk

from supervisor.bench.commissioning.defects import DEFECTS, Defect, strikes
from supervisor.bench.commissioning.hands import SimulatedHands
from supervisor.commissioning.tidy import TidyPerson
from supervisor.control.build_record import why_not
from supervisor.control.build_steps import BY_KEY, needed
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.world import World


def test_a_sound_build_passes_every_step(hut_settings: SupervisorSettings, tmp_path: Path) -> None:
    one = walk(hut_settings, tmp_path)
    assert one.go(), told(one.done)
    assert not one.open_steps()
    assert not list(why_not(one.settings, one.lines, simulated=True))
    assert {done.step for done in one.done} == {step.key for step in needed(hut_settings)}


@pytest.mark.parametrize("name", DEFECTS)
def test_each_defect_is_found_at_its_step_by_its_name(
    hut_settings: SupervisorSettings, tmp_path: Path, name: str
) -> None:
    defect = DEFECTS[name]
    one = behind(walk(hut_settings, tmp_path, defect), defect.found_at)
    assert not one.go([BY_KEY[defect.found_at]])
    named = {finding.defect for done in one.done for finding in done.findings}
    assert defect.named in named, told(one.done)


@pytest.mark.parametrize("name", DEFECTS)
def test_without_the_defect_that_step_passes(
    hut_settings: SupervisorSettings, tmp_path: Path, name: str
) -> None:
    """On the same settings: it is the defect that was found."""
    defect = DEFECTS[name]
    sound = Defect("", "", "", tried=defect.tried)
    one = behind(walk(hut_settings, tmp_path, sound), defect.found_at)
    assert one.go([BY_KEY[defect.found_at]]), told(one.done)


def struck(settings: SupervisorSettings, folder: Path, step: str, **fault: str) -> set[str]:
    """What a step calls what it finds with this fault."""
    level = DEFECTS["active-low"].tried
    one = walk(settings, folder, Defect("", "", "", tried=level, struck=strikes(**fault)))
    assert not one.go([BY_KEY[step]])
    return {finding.defect for done in one.done for finding in done.findings}


def test_leads_that_changed_places_are_found(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    assert "swapped leads" in struck(hut_settings, tmp_path, "leads", kind="leads_swapped")


def test_a_driver_that_acts_on_a_low_level_is_found(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    found = struck(hut_settings, tmp_path, "drive", kind="driver_active_low")
    assert found == {"the driver is active-low"}


@pytest.mark.parametrize("share", [-1.0, -0.4, 0.0, 1.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_clamp_within_its_statement_refuses_no_sound_build(
    hut_settings: SupervisorSettings, tmp_path: Path, share: float, seed: int
) -> None:
    """What it shows where nothing flows is its own, and no bend of the line."""
    one = behind(walk(hut_settings, tmp_path), "current")
    one._person = TidyPerson(SimulatedHands(one._leaves, meter_share=share, seed=seed))
    assert one.go([BY_KEY["current"]]), told(one.done)


def test_hands_may_take_their_time(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Longer than any lease: the loop goes on meanwhile."""
    monkeypatch.setattr("supervisor.commissioning.meanwhile.HANDS_TAKE_S", 20.0)
    one = behind(walk(hut_settings, tmp_path), "trip_overvoltage_high_set")
    assert one.go([BY_KEY["trip_overvoltage_high_set"]]), told(one.done)


def test_a_contact_that_always_says_open_is_no_proof_of_an_opening(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    """The step kill by itself, whoever did the one for the auxiliary contact, and when."""
    stuck = strikes(kind="auxiliary_stuck", shows="open")
    one = behind(walk(hut_settings, tmp_path, Defect("", "", "", struck=stuck)), "kill")
    assert not one.go([BY_KEY["kill"]])


def test_a_daemon_that_trips_before_it_is_killed_proves_nothing(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    presses = Defect("", "", "", struck=stops_soon_after_closing)
    one = behind(walk(hut_settings, tmp_path, presses), "kill")
    assert not one.go([BY_KEY["kill"]])
    killed = [done for done in one.done if done.step == "kill"]
    assert not any(finding.passed for done in killed for finding in done.findings)


def stops_soon_after_closing(world: World) -> None:
    """Somebody presses the button half a second after the contactor has closed."""

    def looks() -> None:
        if world.plant.contactor.closed:
            world.at(world.now_s() + 0.5, lambda: setattr(world, "stop_pressed", True))
        else:
            world.at(world.now_s() + 0.1, looks)

    looks()
