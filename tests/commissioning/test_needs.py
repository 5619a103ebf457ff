"""What has to have passed before a step is tried at all."""

from pathlib import Path

import pytest
from build_samples import all_done
from commission_fakes import BAD, Somebody, Step, walk

from supervisor.cli.commission_bench import overridden
from supervisor.control.build_record import BuildRecord
from supervisor.control.build_steps import BY_KEY
from supervisor.control.build_steps import STEPS as BUILD_STEPS
from supervisor.settings.model import SupervisorSettings


@pytest.mark.parametrize("failed", ["drive", "auxiliary", "trip_overvoltage"])
def test_what_needs_a_step_that_failed_is_not_tried_and_told_as_such(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step], failed: str
) -> None:
    steps[failed].runs = lambda _bench: BAD
    person = Somebody()
    one = walk(hut_settings, tmp_path, person=person)
    assert not one.go()
    needing = {step.key for step in BUILD_STEPS if failed in step.needs}
    assert needing
    assert not needing & {done.step for done in one.done}
    for key in needing - {"trip_second_line"}:
        assert f"{key}: not tried: first {failed} has to pass" in person.told


@pytest.mark.parametrize("key", [step.key for step in BUILD_STEPS if step.needs])
def test_nor_is_it_by_name_and_nothing_goes_on_record(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step], key: str
) -> None:
    assert steps
    person = Somebody()
    one = walk(hut_settings, tmp_path, person=person)
    assert not one.go([BY_KEY[key]])
    assert person.told == [f"{key}: not tried: first {BY_KEY[key].needs[0]} has to pass"]
    assert not one.done


def test_it_is_tried_when_what_it_needs_has_passed_before_it(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step]
) -> None:
    assert steps
    one = walk(hut_settings, tmp_path)
    assert one.go([BY_KEY[key] for key in ("drive", "auxiliary", "kill")])


def test_one_that_passed_with_other_settings_does_not_do(
    hut_settings: SupervisorSettings, tmp_path: Path, steps: dict[str, Step]
) -> None:
    assert steps
    other = overridden(hut_settings, {"contactor.pin": 26})
    record = BuildRecord(tmp_path)
    for done in all_done(other, simulated=True):
        record.add(done)
    assert not walk(hut_settings, tmp_path).go([BY_KEY["current"]])
