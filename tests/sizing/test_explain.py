"""Every key that can name a trip is explained, with numbers and settings that exist."""

import re
from collections.abc import Iterator
from typing import Any, get_args

import pytest

from supervisor.protection.rulebook import build_rules
from supervisor.readings import Quality
from supervisor.settings.document import dotted
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.protection import RULE_KEYS, Without
from supervisor.settings.reference import keys_below
from supervisor.settings.rules import OvercurrentInverse
from supervisor.sizing.explain import EXPLANATIONS, block_notes, block_of, necessity
from supervisor.sizing.explanation import Explanation

ALL_KEYS = [dotted(key.path) for key in keys_below(())]


def test_every_key_that_can_name_a_trip_is_explained() -> None:
    """``external`` is no rule: the stop button, and what is found at a start. Nor is a hang."""
    assert set(EXPLANATIONS) == {*RULE_KEYS, "external", "hang"}


def test_function_numbers_are_the_rules_own(full: SupervisorSettings) -> None:
    rules = build_rules(full)
    assert {rule.key for rule in rules} == set(RULE_KEYS)
    for rule in rules:
        assert EXPLANATIONS[rule.key].function == rule.function


@pytest.mark.parametrize(
    ("rule", "function"),
    [  # IEEE C37.2
        ("overcurrent_inverse", "76"),  # DC overcurrent; 51 is the AC one
        ("supply_thermal", "49"),
        ("temperature", "26"),  # apparatus thermal device; 38 is bearings
        ("balance", "60"),  # from memory
        ("knob_speed", "7"),
        ("second_line", "59"),
        ("session_time", ""),
    ],
)
def test_function_numbers_are_the_standards(rule: str, function: str) -> None:
    assert EXPLANATIONS[rule].function == function


@pytest.mark.parametrize("rule", EXPLANATIONS)
def test_typical_values_are_of_settings_that_exist_and_say_their_source(rule: str) -> None:
    told, block = EXPLANATIONS[rule], block_of(rule)
    own = {dotted(key.path[len(block) :]) for key in keys_below(block)}
    assert set(told.keys) <= own
    assert told.typical
    for typical in told.typical:
        assert set(typical.key.split(" / ")) <= (set(told.keys) or own)
        assert re.search("common practice|memory|computed|IEC|IEEE|reports|rating", typical.source)


def words_of(told: Explanation) -> Iterator[str]:
    yield from (told.meaning, told.protects, told.if_off)
    for typical in told.typical:
        yield from (typical.value, typical.source)
    for kind in told.classes:
        yield kind.shows


def named_in(text: str) -> list[str]:
    return re.findall(r"\b[a-z0-9]+(?:_[a-z0-9]+)+(?:\.[a-z_]+)*\b|\b[a-z]+\.[a-z_]+\b", text)


def is_known(name: str) -> bool:
    curves: Any = OvercurrentInverse.model_fields["curve"].annotation
    is_key = any(path == name or path.endswith(f".{name}") for path in ALL_KEYS)
    return is_key or name in EXPLANATIONS or name in get_args(curves)


def test_settings_named_in_the_words_exist() -> None:
    named = {name for told in EXPLANATIONS.values() for text in words_of(told)
             for name in named_in(text)}  # fmt: skip
    assert {"overcurrent.trip_amperes", "bank.never_above_volts", "zero_amperes"} <= named
    assert [name for name in sorted(named) if not is_known(name)] == []


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("overvoltage", "no"),
        ("sensing", "no"),
        ("hang", "no"),
        ("external", "no"),
        ("knob_speed", "yes: leave protection.knob_speed out"),
        ("overcurrent_inverse", "yes: leave protection.overcurrent_inverse out"),
        ("session_hold", "yes: leave protection.session_hold out"),
        ("second_line", "yes: leave second_line out"),
    ],
)
def test_whether_a_build_can_do_without(rule: str, words: str) -> None:
    assert necessity(rule) == words


@pytest.mark.parametrize("rule", Without.model_fields)
def test_what_the_risk_needs_is_left_out_only_with_a_reason(rule: str) -> None:
    assert necessity(rule).startswith("only with a reason")
    assert necessity(rule).endswith(f"protection.without.{rule}")
    assert f"protection.without.{rule}" in ALL_KEYS


# What the classes of sensing faults are called there, by what a reading says of itself.
CLASS_OF = {
    Quality.CLIPPED: "clipped, out of range",
    Quality.OUT_OF_RANGE: "clipped, out of range",
    Quality.FROZEN: "frozen",
    Quality.NOT_READY: "not ready",
    Quality.CONFIG_CHANGED: "configuration changed",
    Quality.CHIP_RESET: "chip reset",
    Quality.WRONG_CHIP: "wrong chip",
    Quality.TOO_COARSE: "12-bit part",
    Quality.LEAD_OPEN: "open lead",
    Quality.LEAD_SHORTED: "shorted lead",
    Quality.LEAD_REVERSED: "reversed lead",
}
OF_TWO_CHANNELS = {
    "zero offset",
    "voltage that does not answer",
    "current that does not show",
    "swapped shunt",
}


def test_every_class_of_sensing_fault_has_a_line() -> None:
    other_rules = {Quality.GOOD, Quality.NO_ANSWER, Quality.TOO_FEW}  # stale, and windows
    assert set(CLASS_OF) == set(Quality) - other_rules
    names = {kind.name for kind in EXPLANATIONS["sensing"].classes}
    assert names == set(CLASS_OF.values()) | OF_TWO_CHANNELS


def test_notes_for_the_reference_are_of_the_rules_own_blocks() -> None:
    notes = block_notes()
    assert set(notes) == {f"protection.{r}" for r in RULE_KEYS if r != "second_line"} | {
        "second_line"
    }
    assert notes["protection.balance"].startswith("Function 60, voltage balance relay")
    assert notes["protection.stale"].startswith("Protects: ")
