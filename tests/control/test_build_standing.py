"""How a step stands: void when what it stands on was done again, and told by its latest outcome."""

import pytest
from build_samples import all_done, step_done

from supervisor.control.build_record import Line, Lost, StepDone, standing, why_not
from supervisor.control.build_steps import BY_KEY, STEPS
from supervisor.settings.model import SupervisorSettings


def told(settings: SupervisorSettings, lines: list[StepDone]) -> str:
    return "\n".join(why_not(settings, lines, simulated=False))


@pytest.mark.parametrize(
    ("key", "again"),
    [
        ("kill", "auxiliary"),
        ("release", "auxiliary"),
        ("response", "trip_overvoltage"),
        ("response", "trip_overvoltage_high_set"),
    ],
)
@pytest.mark.parametrize("passed", [True, False])
def test_a_step_that_stands_on_another_is_void_when_that_is_done_again(
    hut_settings: SupervisorSettings, key: str, again: str, passed: bool
) -> None:
    """What was seen by an auxiliary contact is worth what that contact was worth."""
    lines = [*all_done(hut_settings), step_done(hut_settings, again, passed=passed)]
    said = told(hut_settings, lines)
    assert f"the step {key} was done before the step {again} was done again" in said
    assert f"--step {key})" in said
    redone = [*lines, step_done(hut_settings, again), step_done(hut_settings, key)]
    assert f"--step {key})" not in told(hut_settings, redone)


def test_a_kill_that_a_person_watched_does_not_stand_on_the_auxiliary_contact(
    hut_settings: SupervisorSettings,
) -> None:
    contactor = hut_settings.contactor.model_copy(update={"auxiliary": None})
    without = hut_settings.model_copy(update={"contactor": contactor})
    lines = [*all_done(without), step_done(hut_settings, "auxiliary")]
    assert told(without, lines) == ""


def test_no_step_stands_on_one_that_comes_after_it() -> None:
    """Or a walk would go round and round."""
    keys = [step.key for step in STEPS]
    for step in STEPS:
        assert all(keys.index(other) < keys.index(step.key) for other in step.stands_on)


def test_a_calibration_is_told_by_its_latest_outcome(hut_settings: SupervisorSettings) -> None:
    """As found it had to be adjusted; adjusted it passed: no failure, whatever the file says."""
    channels = hut_settings.channels
    front = channels.front_cell.model_copy(update={"gain": 1.001})
    adjusted = hut_settings.model_copy(
        update={"channels": channels.model_copy(update={"front_cell": front})}
    )
    as_found = step_done(hut_settings, "front_cell", passed=False, as_left={"gain": 1.001})
    others = [one for one in all_done(hut_settings) if one.step != "front_cell"]
    said = told(hut_settings, [*others, as_found, step_done(adjusted, "front_cell")])
    assert "front_cell failed" not in said
    assert "channels.front_cell.gain 1.001, it is 1.0 now" in said
    assert "front_cell failed" not in told(hut_settings, [*others, as_found])
    failed_since = [*others, as_found, step_done(adjusted, "front_cell", passed=False)]
    assert "--step front_cell)" in told(hut_settings, failed_since)


def test_a_line_that_was_lost_in_time_counts_against_what_was_before_it_alone(
    hut_settings: SupervisorSettings,
) -> None:
    drive = BY_KEY["drive"]
    passed = step_done(hut_settings, "drive")
    for lines, counts in (
        ([passed, Lost("drive")], False),
        ([passed, Lost("")], False),
        ([passed, Lost("kill")], True),
        ([Lost("drive"), passed], True),
        ([passed, Lost(""), passed], True),  # equal to the first, and another time all the same
    ):
        seen: list[Line] = lines  # type: ignore[assignment]
        assert (standing(drive, hut_settings, seen).why == "") is counts


def test_a_trip_done_again_with_another_calibration_is_no_other_profile(
    hut_settings: SupervisorSettings,
) -> None:
    """Profiles share the cells' channels; so it was this build, and its time counts."""
    channels = hut_settings.channels
    front = channels.front_cell.model_copy(update={"gain": 1.001})
    other = hut_settings.model_copy(
        update={"channels": channels.model_copy(update={"front_cell": front})}
    )
    lines = [*all_done(hut_settings), step_done(other, "trip_overvoltage")]
    assert "response was done before the step trip_overvoltage" in told(hut_settings, lines)


def test_a_failure_with_other_settings_counts_until_it_has_passed_again(
    hut_settings: SupervisorSettings,
) -> None:
    """The defect it found does not go away with a value that is put back."""
    contactor = hut_settings.contactor.model_copy(update={"release_milliseconds": 35.0})
    other = hut_settings.model_copy(update={"contactor": contactor})
    failed = [*all_done(hut_settings), step_done(other, "drive", passed=False)]
    assert "drive failed since, with other settings" in told(hut_settings, failed)
    again = [*failed, step_done(hut_settings, "drive")]
    assert "--step drive)" not in told(hut_settings, again)
