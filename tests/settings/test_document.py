"""Overrides: other values at dotted paths, with their own place."""

from pathlib import Path

import pytest

from supervisor.settings.document import Document, dotted
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.load import read_document, settings_from


@pytest.fixture
def hut(hut_path: Path) -> Document:
    return read_document(hut_path)


def test_a_value_is_replaced_in_a_copy(hut: Document) -> None:
    changed = hut.with_overrides({"protection.overvoltage.trip_volts": 3.58})
    assert settings_from(changed).protection.overvoltage.trip_volts == 3.58
    assert settings_from(hut).protection.overvoltage.trip_volts == 3.6


def test_missing_blocks_are_made(hut: Document) -> None:
    changed = hut.with_overrides({"gpio.chip_label": "pinctrl-rp1"})
    assert settings_from(changed).gpio.chip_label == "pinctrl-rp1"


def test_a_whole_block_is_replaced(hut: Document) -> None:
    block = {"trip_amperes": 120, "delay_seconds": 1}
    changed = settings_from(hut.with_overrides({"protection.overcurrent": block}))
    assert changed.protection.overcurrent.trip_amperes == 120
    block["trip_amperes"] = 1
    assert changed.protection.overcurrent.trip_amperes == 120


def test_a_fault_names_the_file_and_line_of_the_override(hut: Document) -> None:
    changed = hut.with_overrides(
        {"protection.overvoltage.trip_volts": 3.8},
        file="drill.yaml",
        lines={"protection.overvoltage.trip_volts": 7},
    )
    with pytest.raises(SettingsFaults) as refused:
        settings_from(changed)
    places = {(f.file, f.line, f.path) for f in refused.value.faults}
    assert ("drill.yaml", 7, "protection.overvoltage.trip_volts") in places


@pytest.mark.parametrize(
    ("path", "fault_path", "nearest"),
    [
        ("protection.overvoltage.trip_volt", "protection.overvoltage.trip_volt", "trip_volts"),
        ("protectoin.overvoltage.trip_volts", "protectoin", "protection"),
        ("bank.name.first", "bank.name", "text"),
        ("", "", "Take it out"),
    ],
)
def test_an_unknown_path_is_the_usual_fault(
    hut: Document, path: str, fault_path: str, nearest: str
) -> None:
    with pytest.raises(SettingsFaults) as refused:
        settings_from(hut.with_overrides({path: 3.6}, file="drill.yaml"))
    (fault,) = refused.value.faults
    assert (fault.file, fault.line, fault.path) == ("drill.yaml", None, fault_path)
    assert nearest in f"{fault.problem} {fault.remedy}"


def test_without_a_file_the_fault_says_overridden(hut: Document) -> None:
    fault = hut.with_overrides({"bank.cells_in_parallel": 0}).fault(
        "bank.cells_in_parallel", "p", "w", "r"
    )
    assert fault.file == f"{hut.file} (overridden)"
    assert fault.line is None


def test_paths_are_written_with_dots_and_brackets() -> None:
    assert dotted(("timeline", 2, "fault", "kind")) == "timeline[2].fault.kind"
    assert dotted(()) == ""


BLOCK = ("charge.full", {"end_amperes": 5})
LEAF = ("charge.full.minutes", 5)


@pytest.mark.parametrize("overrides", [[BLOCK, LEAF], [LEAF, BLOCK]])
def test_a_block_and_a_value_within_it_contradict_each_other(
    hut: Document, overrides: list[tuple[str, object]]
) -> None:
    """Whichever comes first: which of the two holds would be a matter of their order."""
    lines = {"charge.full": 4, "charge.full.minutes": 9}
    with pytest.raises(SettingsFaults) as refused:
        settings_from(hut.with_overrides(dict(overrides), file="drill.yaml", lines=lines))
    (fault,) = refused.value.faults
    assert (fault.file, fault.line, fault.path) == ("drill.yaml", 9, "charge.full.minutes")
    assert fault.problem == "charge.full is replaced as a whole as well (line 4)."
    assert fault.why
    assert "charge.full" in fault.remedy


def test_taking_a_block_away_and_a_value_within_it_contradict_each_other(hut: Document) -> None:
    with pytest.raises(SettingsFaults) as refused:
        settings_from(hut.with_overrides({"charge.full": None, "charge.full.minutes": 5}))
    fault = next(f for f in refused.value.faults if f.path == "charge.full.minutes")
    assert fault.problem == "charge.full is left out as well."


def test_a_name_that_begins_like_another_is_no_part_of_it(hut: Document) -> None:
    """overvoltage and overvoltage_high_set, say."""
    overrides = {"protection.knob_speed": None, "protection.knob_speed_x": 1}
    with pytest.raises(SettingsFaults) as refused:
        settings_from(hut.with_overrides(overrides))
    assert ["There is no setting" in fault.problem for fault in refused.value.faults] == [True]
