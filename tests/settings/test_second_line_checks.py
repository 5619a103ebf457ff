"""The second line's settings against those of the software, the maker and the other converters.

50 mV of hysteresis are common practice, no source; the rest follows from what it is for.
"""

from math import inf, nextafter
from typing import Any

import pytest
from second_lines import GUARD, with_second_line

from supervisor.settings.cross_checks import contradictions
from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.timing import scan_s
from supervisor.settings.hardware import Converter
from supervisor.settings.model import SupervisorSettings

LINE = """
second_line:
  converter: guard
  inputs: "0-1"
  trip_volts: 3.64
  release_volts: 3.40
  pin: 26
"""
GUARD_CHIP = "\nconverters:\n  guard:\n    address: 0x4A\n"


def found(settings: SupervisorSettings, **changes: Any) -> list[Contradiction]:
    return contradictions(with_second_line(settings, **changes))


def with_rule(settings: SupervisorSettings, rule: str, **changes: Any) -> SupervisorSettings:
    block = getattr(settings.protection, rule).model_copy(update=changes)
    protection = settings.protection.model_copy(update={rule: block})
    return settings.model_copy(update={"protection": protection})


def test_one_that_is_in_order(hut_settings: SupervisorSettings) -> None:
    assert found(hut_settings) == []


def test_as_written_in_a_file(hut_text: str, faults_in: Any, line_of: Any) -> None:
    """The converter it uses counts as used; a mistake is told with its line."""
    text = hut_text.replace("\nconverters:\n", GUARD_CHIP) + LINE
    assert faults_in(text) == ()
    wrong = text.replace("trip_volts: 3.64\n  rel", "trip_volts: 3.65\n  rel")
    (fault,) = faults_in(wrong)
    assert fault.line == line_of(wrong, "trip_volts: 3.65")
    assert fault.path == "second_line.trip_volts"


# --- its converter


def test_an_unknown_converter(hut_settings: SupervisorSettings) -> None:
    unused, unknown = found(hut_settings, converter="gard")
    assert unknown.path == "second_line.converter"
    assert unknown.problem == 'There is no converter "gard".'
    assert unknown.remedy == "Write guard."
    assert unused.problem == "No channel uses the converter guard, nor does second_line."


@pytest.mark.parametrize("channel", ["front_cell", "far_cell", "shunt"])
def test_a_channel_on_its_converter(hut_settings: SupervisorSettings, channel: str) -> None:
    """Even on inputs of its own: the chip converts one pair without end."""
    wiring = getattr(hut_settings.channels, channel)
    shared = wiring.model_copy(update={"converter": GUARD, "inputs": "2-3"})
    channels = hut_settings.channels.model_copy(update={channel: shared})
    faults = found(hut_settings.model_copy(update={"channels": channels}))
    (fault,) = [fault for fault in faults if fault.path == f"channels.{channel}.converter"]
    assert fault.problem == "guard is the converter of the second line."
    assert fault.remedy == "Give the second line a converter of its own."


def test_the_converter_of_channels_used_for_it(hut_settings: SupervisorSettings) -> None:
    faults = found(hut_settings, converter="cells")
    assert [fault.path for fault in faults] == [
        "converters.guard",
        "channels.front_cell.converter",
        "channels.far_cell.converter",
    ]


def test_one_address_twice(hut_settings: SupervisorSettings) -> None:
    settings = with_second_line(hut_settings)
    converters = {**settings.converters, GUARD: Converter(address=0x49)}
    (fault,) = contradictions(settings.model_copy(update={"converters": converters}))
    assert fault.path == "converters.guard.address"


# --- its limits


@pytest.mark.parametrize(
    ("trip_v", "problem"),
    [
        (3.63, "3.63 V is not above overvoltage_high_set.trip_volts, 3.63 V."),
        (nextafter(3.63, inf), None),
        (3.6, "3.6 V is not above overvoltage_high_set.trip_volts, 3.63 V."),
        (nextafter(3.65, 0), None),
        (3.65, "3.65 V is not below bank.never_above_volts, 3.65 V."),
        (3.7, "3.7 V is not below bank.never_above_volts, 3.65 V."),
    ],
)
def test_trip_between_the_softwares_and_the_makers(
    hut_settings: SupervisorSettings, trip_v: float, problem: str | None
) -> None:
    faults = found(hut_settings, trip_volts=trip_v)
    assert [fault.problem for fault in faults] == ([problem] if problem else [])
    for fault in faults:
        assert fault.path == "second_line.trip_volts"
        assert fault.remedy.startswith("Write a value between 3.63 and 3.65")


@pytest.mark.parametrize(("release_v", "refused"), [(3.589, False), (3.59, False), (3.5901, True),
                                                    (3.64, True), (3.8, True)])  # fmt: skip
def test_release_well_below_trip(
    hut_settings: SupervisorSettings, release_v: float, refused: bool
) -> None:
    """3.64 - 0.05 in floating point is a little more or less than 3.59: that much is allowed."""
    faults = found(hut_settings, release_volts=release_v)
    assert [fault.path for fault in faults] == ["second_line.release_volts"] * refused
    for fault in faults:
        words = f"{release_v:g} V is less than 0.05 V below second_line.trip_volts, 3.64 V."
        assert fault.problem == words
        assert "Write at most 3.590, " in fault.remedy


@pytest.mark.parametrize(("release_v", "refused"), [(2.5, True), (nextafter(2.5, inf), False),
                                                    (2.0, True), (2.6, False)])  # fmt: skip
def test_release_above_undervoltage(
    hut_settings: SupervisorSettings, release_v: float, refused: bool
) -> None:
    faults = found(hut_settings, release_volts=release_v)
    assert [fault.path for fault in faults] == ["second_line.release_volts"] * refused
    for fault in faults:
        assert fault.problem == (f"{release_v:g} V is not above undervoltage.trip_volts, 2.5 V.")
        assert fault.remedy == "Write a value between 2.5 and 3.590, like 3.4."


def test_the_limits_it_is_compared_with_are_the_files_own(
    hut_settings: SupervisorSettings,
) -> None:
    higher = with_rule(hut_settings, "overvoltage_high_set", trip_volts=3.645)
    (fault,) = found(higher)
    assert "3.64 V is not above overvoltage_high_set.trip_volts, 3.645 V" in fault.problem
    lower = with_rule(hut_settings, "undervoltage", trip_volts=3.41)
    (fault,) = found(lower)
    assert "3.4 V is not above undervoltage.trip_volts, 3.41 V" in fault.problem


# --- its range, supply and pin


@pytest.mark.parametrize(
    ("changes", "refused"),
    [
        ({"range_volts": 2.048}, True),
        ({"range_volts": 2.048, "gain": 2.0}, False),
        ({"range_volts": 6.144}, False),
        ({"gain": 0.9}, True),
    ],
)
def test_head_room_of_its_range(
    hut_settings: SupervisorSettings, changes: dict[str, float], refused: bool
) -> None:
    faults = found(hut_settings, **changes)
    assert [fault.path for fault in faults] == ["second_line.range_volts"] * refused


def test_supply_of_its_converter(hut_settings: SupervisorSettings) -> None:
    settings = with_second_line(hut_settings)
    weak = {**settings.converters, GUARD: Converter(address=0x4A, supply_volts=3.3)}
    (fault,) = contradictions(settings.model_copy(update={"converters": weak}))
    assert fault.path == "converters.guard.supply_volts"
    assert fault.problem.startswith("second_line puts up to 3.650 V on an input of guard")


@pytest.mark.parametrize(
    ("pin", "words"),
    [
        (17, "already used by contactor"),
        (23, "already used by second_line"),
        (2, "a wire of the I2C bus"),
        (14, "serial console"),
        (0, "while the Raspberry Pi starts"),
    ],
)
def test_its_pin(hut_settings: SupervisorSettings, pin: int, words: str) -> None:
    """GPIO 23 is the stop button's: whichever of the two comes second is told."""
    (fault,) = found(hut_settings, pin=pin)
    assert words in fault.problem


@pytest.mark.parametrize("pin", [5, 26])
def test_a_pin_that_is_pulled_up_may_serve_it(hut_settings: SupervisorSettings, pin: int) -> None:
    """It is an input with a pull-up anyway."""
    assert found(hut_settings, pin=pin) == []


# --- its time


@pytest.mark.parametrize(("kilohertz", "more_s"), [(100, 0.95e-3), (400, 0.25e-3)])
def test_two_transfers_a_cycle_are_in_the_time_budget(
    hut_settings: SupervisorSettings, kilohertz: int, more_s: float
) -> None:
    """Half of a conversion's four: 0.4 ms a write and 0.5 ms a read at 100 kHz."""
    bus = hut_settings.bus.model_copy(update={"kilohertz": kilohertz})
    settings = hut_settings.model_copy(update={"bus": bus})
    assert scan_s(with_second_line(settings)) - scan_s(settings) == pytest.approx(more_s)


def test_a_cycle_that_is_too_short_for_them_is_refused(hut_settings: SupervisorSettings) -> None:
    """9.7 ms to read the channels fill 90 % of 11.1 ms; 0.95 ms more do not go in."""
    loop = hut_settings.loop.model_copy(update={"scans_per_window": 9})
    settings = hut_settings.model_copy(update={"loop": loop})
    assert contradictions(settings) == []
    (fault,) = found(settings)
    assert fault.path == "loop.scans_per_window"
    assert "One scan takes 10.7 ms" in fault.problem
