"""Profiles: what they may change, what is told of one that is wrong, and what they make."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from full_bank import full_text
from hypothesis import given
from hypothesis import strategies as st

from supervisor.settings.faults import Fault
from supervisor.settings.load import load_settings, read_document, settings_from
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import is_changeable, with_profile
from supervisor.settings.text import parse
from supervisor.sizing.fitness import Examined, examine, examine_document

PRACTICE, FINAL = "practice_group", "final_hold"
CELLS = "      bank.cells_in_parallel: 4\n"
Examine = Callable[..., tuple[str, tuple[Fault, ...]]]


@pytest.fixture(scope="module")
def hut_text(hut_path: Path) -> str:
    return hut_path.read_text("utf-8")


@pytest.fixture
def examined(hut_text: str) -> Examine:
    """The text with one edit, and its faults."""

    def of(old: str, new: str) -> tuple[str, tuple[Fault, ...]]:
        assert hut_text.count(old) == 1
        text = hut_text.replace(old, new)
        return text, faults_of(text).faults

    return of


def faults_of(text: str) -> Examined:
    return examine_document(parse(text, "hut.yaml"))


def line(text: str, words: str) -> int:
    (number,) = (n for n, told in enumerate(text.splitlines(), start=1) if words in told)
    return number


def test_every_profile_of_the_example_is_clean(hut_path: Path) -> None:
    examined = examine(hut_path)
    assert examined.settings is not None
    assert list(examined.settings.profiles) == [PRACTICE, FINAL]
    assert examined.faults == ()


@pytest.mark.parametrize("name", [PRACTICE, FINAL])
def test_what_a_profile_makes_is_clean_by_itself(hut_path: Path, name: str) -> None:
    settings, document = load_settings(hut_path)
    overrides = settings.profiles[name].overrides | {"profile": name, "profiles": {}}
    examined = examine_document(document.with_overrides(overrides))
    assert examined.faults == ()
    chosen = with_profile(settings, name)
    assert examined.settings == chosen.model_copy(update={"profiles": {}})


# What is wrong with one


def added(entry: str) -> tuple[str, str]:
    """One more override of the practice group."""
    return CELLS, f"{CELLS}      {entry}\n"


@pytest.mark.parametrize(
    "path",
    [
        "gpio.chip", "contactor.pin", "bus.number", "converters.cells.address", "loop",
        "channels.front_cell.converter", "channels", "channels.shunt.converter",
        "channels.shunt.inputs", "bank.never_above_volts", "bank.name",
        "profile", "profiles.final_hold.about", "uncommissioned", "web.port", "charge",
        "protection",
    ],
)  # fmt: skip
def test_a_path_that_it_may_not_change(examined: Examine, path: str) -> None:
    text, faults = examined(*added(f"{path}: 5"))
    (fault,) = faults
    assert fault.problem == f"A profile cannot change {path}."
    assert fault.line == line(text, f"      {path}: 5")
    assert fault.path == f"profiles.{PRACTICE}.overrides.{path}"
    assert fault.why
    assert "bank.cells_in_parallel" in fault.remedy


@pytest.mark.parametrize(
    ("entry", "path", "problem"),
    [
        ("protection.knob_sped.over_seconds: 3", "protection.knob_sped",
         "There is no setting knob_sped in protection."),
        ("bank.cells_in_parallels: 4", "bank.cells_in_parallels",
         "There is no setting cells_in_parallels in bank."),
        ("charge.full.end_ampere: 4", "charge.full.end_ampere",
         "There is no setting end_ampere in charge.full."),
        ("charge.hold_volts: -1", "charge.hold_volts", "-1 is outside the range of hold_volts"),
        ("charge.hold_volts: high", "charge.hold_volts", 'hold_volts is "high"'),
        ("protection.overcurrent: 7", "protection.overcurrent", "overcurrent is 7"),
        ("protection.overcurrent.trip_amperes.x: 7", "protection.overcurrent.trip_amperes",
         "trip_amperes is a block of keys"),
        ("charge.taper_above_volts: 3.54", "charge.taper_above_volts",
         "3.54 V is not below the hold"),
        ("protection.overvoltage.trip_volts: 3.66", "protection.overvoltage.trip_volts",
         "3.66 V"),
    ],
)  # fmt: skip
def test_told_with_line_and_profile(examined: Examine, entry: str, path: str, problem: str) -> None:
    text, faults = examined(*added(entry))
    told = next(fault for fault in faults if fault.path == path)
    assert told.problem.startswith(f"In the profile {PRACTICE}: ")
    assert problem in told.problem
    assert (told.file, told.line) == ("hut.yaml", line(text, f"      {entry}"))
    assert told.why
    assert told.remedy
    assert all(fault.problem.startswith(f"In the profile {PRACTICE}: ") for fault in faults)


def test_a_contradiction_with_what_it_does_not_change_is_told(examined: Examine) -> None:
    """140 A of the file's target of 40 here: the supply's limits stay those of the file."""
    text, (fault,) = examined("charge.target_amperes: 40", "charge.target_amperes: 140")
    assert fault.path == "charge.target_amperes"
    assert fault.line == line(text, "charge.target_amperes: 140")
    assert "130 A" in fault.problem


def test_unfit_for_its_voltage_is_told(examined: Examine) -> None:
    _, faults = examined(*added("protection.stale.trip_after_seconds: 4"))
    assert faults
    assert all(fault.problem.startswith(f"In the profile {PRACTICE}") for fault in faults)


def test_faults_of_two_profiles_are_both_told(examined: Examine) -> None:
    text, _ = examined(*added("charge.taper_above_volts: 3.54"))
    text = text.replace("      charge.target_amperes: 10\n", "      charge.target_amperes: 13\n")
    told = [fault.problem.split(":")[0] for fault in faults_of(text).faults]
    assert told == [f"In the profile {PRACTICE}", f"In the profile {FINAL}"]


def test_the_name_of_the_settings_themselves_is_taken(examined: Examine) -> None:
    text, (fault,) = examined(f"  {PRACTICE}:\n", "  bank:\n")
    assert fault.problem == "bank is the name of the settings themselves (profile)."
    assert fault.path == "profiles.bank"
    assert fault.line == next(
        n for n, told in enumerate(text.splitlines(), start=1)
        if told == "  bank:"
    )  # fmt: skip


def test_a_file_that_is_wrong_itself_is_told_first(hut_text: str) -> None:
    text = hut_text.replace("  hold_volts: 3.56", "  hold_volts: 3.61")
    text = text.replace(CELLS, f"{CELLS}      gpio.chip: 1\n")
    assert [fault.path for fault in faults_of(text).faults] == ["charge.hold_volts"]


@pytest.mark.parametrize(
    ("old", "new", "path"),
    [
        ("    about: Four cells, to learn how fast the end comes\n", "", "about"),
        ("    about: Four cells, to learn how fast the end comes\n", "    about: Four\n", "about"),
    ],
)
def test_each_says_what_it_is_for(examined: Examine, old: str, new: str, path: str) -> None:
    _, (fault,) = examined(old, new)
    assert fault.path == f"profiles.{PRACTICE}.{path}"


@pytest.mark.parametrize("name", ["Practice", "1st", "a b", "x" * 31])
def test_a_name_is_one_word(examined: Examine, name: str) -> None:
    text, (fault,) = examined(f"  {PRACTICE}:\n", f'  "{name}":\n')
    assert fault.path.startswith(f"profiles.{name}")
    assert fault.line == line(text, f'  "{name}":')


@pytest.mark.parametrize(
    ("path", "may"),
    [
        ("bank.cells_in_parallel", True), ("channels.shunt.rated_amperes", True),
        ("protection.overvoltage.trip_volts", True), ("charge.hold_volts", True),
        ("bank.cell_ampere_hours", False), ("channels.far_cell", False), ("charges.x", False),
        ("", False), ("panel.silence_minutes", False), ("session.new_after_open_hours", False),
    ],
)  # fmt: skip
def test_what_may_be_changed(path: str, may: bool) -> None:
    assert is_changeable(path) is may


# What it makes


def test_the_settings_with_a_profile(hut_settings: SupervisorSettings) -> None:
    kept = hut_settings.model_dump()
    made = with_profile(hut_settings, PRACTICE)
    assert made.profile == PRACTICE
    assert made.bank.cells_in_parallel == 4
    assert made.protection.session_charge.trip_ampere_hours == 1120
    assert (made.charge.target_amperes, made.charge.full.end_amperes) == (40, 4)
    assert made.charge.full.least_percent == 0
    assert hut_settings.model_dump() == kept, "the file's own are left alone"
    assert hut_settings.profile == "bank"


def test_all_else_is_as_it_was(hut_settings: SupervisorSettings) -> None:
    def flat(block: dict[str, Any], base: str = "") -> dict[str, Any]:
        found: dict[str, Any] = {}
        for key, value in block.items():
            inner = flat(value, f"{base}{key}.") if isinstance(value, dict) else {base + key: value}
            found |= inner
        return found

    for name, profile in hut_settings.profiles.items():
        before = flat(hut_settings.model_dump())
        after = flat(with_profile(hut_settings, name).model_dump())
        changed = {path for path in before.keys() | after if before.get(path) != after.get(path)}
        written = {*profile.overrides, "profile"}  # values, or a block with all its values
        reached = {next((w for w in written if f"{path}.".startswith(f"{w}.")), path)
                   for path in changed}  # fmt: skip
        assert reached == written


def test_the_files_own_have_a_name_as_well(hut_settings: SupervisorSettings) -> None:
    assert with_profile(hut_settings, "bank") is hut_settings


def test_one_after_the_other_begins_from_the_file(hut_settings: SupervisorSettings) -> None:
    made = with_profile(hut_settings, PRACTICE)
    assert set(made.profiles) == {PRACTICE, FINAL}
    assert with_profile(hut_settings, FINAL).bank.cells_in_parallel == 32


def test_an_unknown_one(hut_settings: SupervisorSettings) -> None:
    with pytest.raises(KeyError, match="nobody"):
        with_profile(hut_settings, "nobody")


BLOCK = {"open_above_volts": 3.56, "close_below_volts": 3.5}


@pytest.mark.parametrize(
    ("overrides", "of"),
    [
        ({"charge.pulsed_hold": BLOCK}, lambda s: s.charge.pulsed_hold.open_above_volts == 3.56),
        ({f"charge.pulsed_hold.{key}": value for key, value in BLOCK.items()},
         lambda s: s.charge.pulsed_hold.close_below_volts == 3.5),
        ({"protection.stage_limits.hold.trip_volts": 3.58},
         lambda s: s.protection.stage_limits.hold.trip_volts == 3.58),
        ({"protection.knob_speed": None}, lambda s: s.protection.knob_speed is None),
        ({"channels.shunt.rated_amperes": 20}, lambda s: s.channels.shunt.rated_amperes == 20),
    ],
)  # fmt: skip
def test_blocks_are_made_and_taken_away(
    hut_path: Path, overrides: dict[str, Any], of: Callable[[Any], bool]
) -> None:
    """Chosen by the daemon, and examined before: the same settings."""
    document = read_document(hut_path)
    profiles = {"other": {"about": "Another job", "overrides": overrides}}
    settings = settings_from(document.with_overrides({"profiles": profiles}))
    examined = examine_document(document.with_overrides(overrides | {"profile": "other"}))
    made = with_profile(settings, "other")
    assert of(made)
    assert examined.settings is not None
    assert made.model_copy(update={"profiles": {}}) == examined.settings.model_copy(
        update={"profiles": {}}
    )


@given(amperes=st.floats(1, 129), cells=st.integers(1, 1000), hold_v=st.floats(3.47, 3.59))
def test_what_is_written_is_what_holds(
    hut_settings: SupervisorSettings, amperes: float, cells: int, hold_v: float
) -> None:
    written = {
        "charge.target_amperes": amperes,
        "bank.cells_in_parallel": cells,
        "charge.hold_volts": hold_v,
    }
    practice = hut_settings.profiles[PRACTICE].model_copy(update={"overrides": written})
    changed = hut_settings.model_copy(update={"profiles": {PRACTICE: practice}})
    made = with_profile(changed, PRACTICE)
    assert made.charge.target_amperes == amperes
    assert made.bank.cells_in_parallel == cells
    assert made.charge.hold_volts == hold_v


def test_with_every_optional_block_fitted(hut_text: str) -> None:
    settings = settings_from(parse(full_text(hut_text), "full.yaml"))
    for name in settings.profiles:
        made = with_profile(settings, name)
        assert made.profile == name
        assert made.probes == settings.probes
        assert made.second_line == settings.second_line


@pytest.mark.parametrize("name", ["Practice-Group", "4_cells", "small supply", "a" * 31])
def test_a_name_that_cannot_be_typed(hut_text: str, name: str) -> None:
    text = hut_text.replace(f"  {PRACTICE}:\n", f'  "{name}":\n')
    (fault,) = faults_of(text).faults
    assert fault.problem == f'"{name}" is no name for a profile.'
    assert fault.line == line(text, f'"{name}":')
    assert "small letters" in fault.remedy


def test_a_name_of_the_file_itself_that_cannot_be_typed(hut_text: str) -> None:
    (fault,) = faults_of(hut_text.replace("# profile: bank", "profile: Big Bank")).faults
    assert (fault.path, fault.problem) == ("profile", '"Big Bank" is no name for a profile.')


def test_what_it_does_without(hut_text: str) -> None:
    text = hut_text.replace("# leave_out: []", "leave_out: [protection.knob_speed, charge.full]")
    of_practice, rest = text.split("  final_hold:", 1)
    for line in ("end_amperes: 4", "least_percent: 0"):
        assert of_practice.count(f"      charge.full.{line}\n") == 1
        of_practice = of_practice.replace(f"      charge.full.{line}\n", "")
    text = f"{of_practice}  final_hold:{rest}"
    examined = faults_of(text)
    assert examined.faults == ()
    assert examined.settings is not None
    without = with_profile(examined.settings, PRACTICE)
    assert without.protection.knob_speed is None
    assert without.charge is not None
    assert without.charge.full is None
    assert examined.settings.protection.knob_speed is not None


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("protection.overvoltage", "protection.overvoltage cannot be left out"),
        ("protection.session_time", "session_time"),
        ("contactor.auxiliary", "cannot change contactor.auxiliary"),
        ("bank.cells_in_parallel", "bank.cells_in_parallel cannot be left out"),
    ],
)
def test_what_it_cannot_do_without(hut_text: str, path: str, words: str) -> None:
    """What must be there, and a rule that the risk needs, without its reason."""
    text = hut_text.replace("# leave_out: []", f"leave_out: [{path}]")
    faults = faults_of(text).faults
    assert any(words in fault.problem for fault in faults), [str(fault) for fault in faults]
    assert all(fault.why and fault.remedy for fault in faults)
