"""Settings as tables: whatever a newer or older program recorded."""

from typing import Any

import pytest

from supervisor.report.settings_told import (
    as_profile,
    calibration,
    dig,
    limits,
    parsed,
    without,
)
from supervisor.settings.model import SupervisorSettings


@pytest.fixture
def recorded(hut_settings: SupervisorSettings) -> dict[str, Any]:
    return hut_settings.model_dump(mode="json")


def test_limits_have_value_and_meaning(recorded: dict[str, Any]) -> None:
    rows = {row.path: row for row in limits(recorded, parsed(recorded))}
    trip = rows["overvoltage.trip_volts"]
    assert trip.value == "3.6"
    assert trip.meaning.startswith("Trips")
    assert rows["charge.regulated"].value == "no"
    assert "without.temperature" not in rows


def test_settings_of_another_version_are_shown_by_their_keys() -> None:
    recorded = {"protection": {"warp": {"trip_volts": 3.6, "of": None}}}
    assert parsed(recorded) is None
    (row,) = limits(recorded, None)
    assert (row.path, row.value, row.meaning) == ("warp.trip_volts", "3.6", "")


@pytest.mark.parametrize("recorded", [{}, {"channels": None, "protection": None}, {"a": 1}])
def test_settings_without_anything_make_empty_tables(recorded: dict[str, Any]) -> None:
    assert limits(recorded, None) == []
    assert calibration(recorded) == []
    assert without(recorded) == []
    assert dig(recorded, "bank.never_above_volts") is None


def test_calibration_of_every_channel(recorded: dict[str, Any]) -> None:
    recorded["channels"]["front_cell"] |= {"gain": 1.002, "gain_uncertainty_percent": 0.05}
    front, far, shunt = calibration(recorded)
    assert (front.channel, front.gain, front.gain_uncertainty) == ("front cell", "1.002", "0.05 %")
    assert far.gain_uncertainty == "by the data sheets"
    assert shunt.offset.endswith(" A")


def test_what_was_off_comes_with_its_reason(recorded: dict[str, Any]) -> None:
    recorded["protection"]["without"]["balance"] = "no far cell lead yet"
    assert ("balance", "no far cell lead yet") in without(recorded)


def test_a_profile_is_worked_out(hut_settings: SupervisorSettings) -> None:
    changed = as_profile(hut_settings, "final_hold")
    assert changed is not None
    assert changed.protection.overcurrent.trip_amperes == 12
    assert as_profile(hut_settings, "unheard_of") is None
    assert as_profile(None, "final_hold") is None


def test_a_flag_is_no_number() -> None:
    assert dig({"a": True}, "a") is None
