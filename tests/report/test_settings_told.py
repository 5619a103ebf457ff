"""Settings as tables: whatever a newer or older program recorded."""

from typing import Any

import pytest

from supervisor.report.settings_told import (
    LIMITS,
    as_profile,
    calibration,
    dig,
    grouped,
    limits,
    parsed,
    without,
)
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.reference import Key, keys_below

WITHOUT_UNIT = {"form_factor", "time_multiplier", "gain", "pin"}


@pytest.fixture
def recorded(hut_settings: SupervisorSettings) -> dict[str, Any]:
    return hut_settings.model_dump(mode="json")


def test_limits_have_value_unit_and_meaning(recorded: dict[str, Any]) -> None:
    rows = {row.path: row for row in limits(recorded, is_known=True)}
    trip = rows["protection.overvoltage.trip_volts"]
    assert trip.value == "3.6 V"
    assert trip.meaning.startswith("Trips")
    assert rows["protection.overvoltage.of"].value == "4 windows"
    assert rows["protection.overvoltage_high_set.of"].value == "3 conversions"
    assert rows["charge.regulated"].value == "no"
    assert not [path for path in rows if path.startswith("protection.without")]


def numbers() -> list[Key]:
    """Every number that may be set in the blocks that are shown."""
    keys = [key for block in LIMITS for key in keys_below((block,))]
    return [key for key in keys if key.spot.wants_number and "without" not in key.path]


@pytest.mark.parametrize("key", numbers(), ids=lambda key: ".".join(map(str, key.path)))
def test_every_number_has_a_unit_and_words(key: Key) -> None:
    recorded: Any = 7
    for name in reversed(key.path):
        recorded = {name: recorded}
    (row,) = limits(recorded, is_known=True)
    assert " " in row.value or key.path[-1] in WITHOUT_UNIT, row.value
    assert row.meaning
    assert "`" not in row.meaning
    assert "_" not in row.meaning


def test_limits_are_grouped_by_block(recorded: dict[str, Any]) -> None:
    groups = {group.title: group for group in grouped(limits(recorded, is_known=True))}
    assert groups["overvoltage"].about.endswith("the main cutoff.")
    assert [row.value for row in groups["supply thermal, rectifier"].limits] == ["150 A", "300 s"]


def test_settings_of_another_version_are_shown_by_their_keys() -> None:
    recorded = {"protection": {"warp": {"trip_volts": 3.6, "of": None}}}
    assert parsed(recorded) is None
    (row,) = limits(recorded, is_known=False)
    assert (row.path, row.value, row.meaning) == ("protection.warp.trip_volts", "3.6 V", "")
    (group,) = grouped([row])
    assert (group.title, group.about) == ("warp", "")


@pytest.mark.parametrize("recorded", [{}, {"channels": None, "protection": None}, {"a": 1}])
def test_settings_without_anything_make_empty_tables(recorded: dict[str, Any]) -> None:
    assert limits(recorded, is_known=False) == []
    assert calibration(recorded) == []
    assert without(recorded) == []
    assert dig(recorded, "bank.never_above_volts") is None


def test_calibration_of_every_channel(recorded: dict[str, Any]) -> None:
    recorded["channels"]["front_cell"] |= {"gain": 1.002, "gain_uncertainty_percent": 0.05}
    front, far, shunt = calibration(recorded)
    assert (front.channel, front.gain, front.gain_uncertainty) == (
        "front cell", "1.002 V per V", "0.05 %",
    )  # fmt: skip
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


@pytest.mark.parametrize(
    "odd",
    [True, "3.6", None, [3.6], {"b": 3.6}, float("nan"), float("inf"), -float("inf"), 10**400],
)
def test_what_is_no_finite_number_is_none(odd: object) -> None:
    assert dig({"a": odd}, "a") is None
    assert dig({"a": odd}, "a.b.c") is None
