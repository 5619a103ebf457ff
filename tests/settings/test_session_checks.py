"""Limits of a session, and the knob's speed, against bank and other limits."""

from typing import Any, NamedTuple

import pytest

from supervisor.settings.cross_checks import contradictions
from supervisor.settings.model import SupervisorSettings


class Case(NamedTuple):
    name: str
    edits: list[tuple[str, str]]
    words: str  # of the faulty line
    path: str
    problem: str
    remedy: str


CHARGE = "protection.session_charge.trip_ampere_hours"
HOLD = "protection.session_hold"
AMPERES = "protection.knob_speed.trip_amperes_per_second"
VOLTS = "protection.knob_speed.trip_volts_per_second"

CASES = [
    Case("more charge than fits", [("trip_ampere_hours: 8960", "trip_ampere_hours: 10753")],
         "trip_ampere_hours: 10753", CHARGE,
         "10753 Ah is more than 1.2 times the bank's rating of 8960 Ah", "the rating, 8960"),
    Case("fewer cells", [("cells_in_parallel: 32", "cells_in_parallel: 8")],
         "trip_ampere_hours: 8960", CHARGE, "rating of 2240 Ah", "the rating, 2240"),
    Case("hold at overvoltage", [("above_volts: 3.50", "above_volts: 3.60")],
         "above_volts: 3.60", f"{HOLD}.above_volts",
         "3.6 V is not below overvoltage.trip_volts, 3.6 V", "below 3.6"),
    Case("hold at undervoltage", [("above_volts: 3.50", "above_volts: 2.50")],
         "above_volts: 2.50", f"{HOLD}.above_volts",
         "2.5 V is not above undervoltage.trip_volts, 2.5 V", "such as 3.50"),
    Case("hold as long as the session", [("trip_hours: 24", "trip_hours: 120 # hold")],
         "trip_hours: 120 # hold", f"{HOLD}.trip_hours",
         "120 h is not less than session_time.trip_hours, 120 h", "less than 120"),
    Case("no cell rises so fast",
         [("trip_volts_per_second: 0.01", "trip_volts_per_second: 0.02")],
         "trip_volts_per_second: 0.02", VOLTS,
         "0.02 V/s is not below bank.fastest_rise_volts_per_second, 0.02 V/s",
         "between 0.001 and 0.02, such as 0.0105"),
    Case("as slow as the steep end",
         [("trip_volts_per_second: 0.01", "trip_volts_per_second: 0.001")],
         "trip_volts_per_second: 0.001", VOLTS,
         "0.001 V/s is not more than rate_of_rise.trip_volts_per_minute, 0.001 V/s",
         "between 0.001 and 0.02, such as 0.0105"),
    Case("from nothing to overcurrent",
         [("trip_amperes_per_second: 15", "trip_amperes_per_second: 65")],
         "trip_amperes_per_second: 65", AMPERES,
         "65 A/s over 2 s are 130 A, not less than overcurrent.trip_amperes, 130 A",
         "less than 65"),
    Case("from nothing to overcurrent in a long stretch",
         [("    # over_seconds: 2.0", "    over_seconds: 10")],
         "trip_amperes_per_second: 15", AMPERES, "15 A/s over 10 s are 150 A", "less than 13"),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_contradiction(case: Case, hut_text: str, edited: Any, faults_in: Any) -> None:
    text = edited(hut_text, case.edits)
    found = [fault for fault in faults_in(text) if fault.path == case.path]
    assert len(found) == 1
    assert case.problem in found[0].problem
    assert case.remedy in found[0].remedy
    assert found[0].why
    assert case.words in text.splitlines()[found[0].line - 1]


ALLOWED = [
    [("trip_ampere_hours: 8960", "trip_ampere_hours: 10752")],
    [("above_volts: 3.50", "above_volts: 3.59")],
    [("above_volts: 3.50", "above_volts: 2.51")],
    [("trip_hours: 24", "trip_hours: 119.9")],
    [("trip_volts_per_second: 0.01", "trip_volts_per_second: 0.019")],
    [("trip_volts_per_second: 0.01", "trip_volts_per_second: 0.0011")],
    [("trip_amperes_per_second: 15", "trip_amperes_per_second: 64.9")],
]


@pytest.mark.parametrize("edits", ALLOWED)
def test_no_contradiction(
    edits: list[tuple[str, str]], hut_text: str, edited: Any, faults_in: Any
) -> None:
    paths = [fault.path for fault in faults_in(edited(hut_text, edits))]
    assert [path for path in paths if "session" in path or "knob" in path] == []


@pytest.mark.parametrize("rule", ["session_time", "session_charge", "session_hold", "knob_speed"])
def test_nothing_to_say_without_the_rule(hut_settings: SupervisorSettings, rule: str) -> None:
    protection = hut_settings.protection.model_copy(update={rule: None})
    settings = hut_settings.model_copy(update={"protection": protection})
    paths = [found.path for found in contradictions(settings)]
    assert [path for path in paths if path.startswith(f"protection.{rule}.")] == []
