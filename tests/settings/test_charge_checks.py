"""The charge among its own values, and below the limits; the limits of a stage."""

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


FULL, REST, PULSED = "charge.full", "charge.rest", "charge.pulsed_hold"
LIMITS = "protection.stage_limits"

WITH_LIMITS = (
    "\nprotection:\n",
    """
protection:
  stage_limits:
    taper: {trip_amperes: 120} # of the taper
    hold: {trip_amperes: 60, trip_volts: 3.58} # of the hold
""",
)
WITH_PULSES = (
    "\n# The protection rules.",
    """
  pulsed_hold:
    open_above_volts: 3.56 # opens
    close_below_volts: 3.50 # closes

# The protection rules.""",
)


def without_charge(text: str) -> list[tuple[str, str]]:
    """The edit that takes the whole block out."""
    begin, end = text.index("\ncharge:\n"), text.index("\n# The protection rules.")
    return [(text[begin:end], "\n")]


CASES = [
    Case("hold at overvoltage", [("hold_volts: 3.56", "hold_volts: 3.596")],
         "hold_volts: 3.596", "charge.hold_volts",
         "3.596 V is not 5 mV below what trips, 3.6 V", "Write 3.570 or less"),
    Case("hold at the limit of the hold", [WITH_LIMITS, ("hold_volts: 3.56", "hold_volts: 3.58")],
         "hold_volts: 3.58", "charge.hold_volts", "what trips, 3.58 V", "Write 3.550 or less"),
    Case("no taper", [("taper_above_volts: 3.42", "taper_above_volts: 3.52")],
         "taper_above_volts: 3.52", "charge.taper_above_volts",
         "3.52 V is not below the hold, which begins at 3.52 V", "less than 3.52"),
    Case("a band as wide as the taper",
         [("  band_volts: 0.04", "  band_volts: 0.14")],
         "taper_above_volts: 3.42", "charge.taper_above_volts",
         "3.42 V is not below the hold, which begins at 3.42 V", "such as 3.42"),
    Case("all of it is taper", [("taper_above_volts: 3.42", "taper_above_volts: 2.5")],
         "taper_above_volts: 2.5", "charge.taper_above_volts",
         "2.5 V is not above undervoltage.trip_volts", "such as 3.42"),
    Case("a pulse that ends above the hold",
         [WITH_PULSES, ("open_above_volts: 3.56 #", "open_above_volts: 3.57 #")],
         "3.57 # opens", f"{PULSED}.open_above_volts",
         "3.57 V is not in the hold, 3.52 to 3.56 V", "Write 3.56"),
    Case("a pulse that ends before the hold",
         [WITH_PULSES, ("open_above_volts: 3.56 #", "open_above_volts: 3.52 #"),
          ("close_below_volts: 3.50 #", "close_below_volts: 3.45 #")],
         "3.52 # opens", f"{PULSED}.open_above_volts", "3.52 V is not in the hold", "Write 3.56"),
    Case("a contactor that chatters",
         [WITH_PULSES, ("close_below_volts: 3.50 #", "close_below_volts: 3.556 #")],
         "3.556 # closes", f"{PULSED}.close_below_volts",
         "3.556 V is not 5 mV below open_above_volts, 3.56 V", "Write 3.510 or so"),
    Case("pulses that close above where they open",
         [WITH_PULSES, ("close_below_volts: 3.50 #", "close_below_volts: 3.57 #")],
         "3.57 # closes", f"{PULSED}.close_below_volts", "is not 5 mV below", "Write 3.510"),
    Case("more than trips", [("target_amperes: 100", "target_amperes: 130")],
         "target_amperes: 130", "charge.target_amperes",
         "130 A is not below overcurrent.trip_amperes, 130 A", "Write 117 or less"),
    Case("any hold is full", [("end_amperes: 8\n", "end_amperes: 100\n")],
         "end_amperes: 100", f"{FULL}.end_amperes",
         "100 A is not below charge.target_amperes, 100 A", "a small part of the target"),
    Case("no rest could pass",
         [("    # lowest_volts: 3.33", "    lowest_volts: 3.6")],
         "lowest_volts: 3.6", f"{REST}.lowest_volts",
         "3.6 V is not below charge.rest.highest_volts, 3.6 V", "3.33 to 3.6"),
    Case("a taper that is not tighter",
         [WITH_LIMITS, ("trip_amperes: 120}", "trip_amperes: 130}")],
         "# of the taper", f"{LIMITS}.taper.trip_amperes",
         "130 A is not below overcurrent.trip_amperes, 130 A", "less than 130"),
    Case("a hold that is not tighter", [WITH_LIMITS, ("trip_amperes: 60,", "trip_amperes: 131,")],
         "# of the hold", f"{LIMITS}.hold.trip_amperes",
         "131 A is not below overcurrent.trip_amperes, 130 A", "less than 130"),
    Case("a voltage that is not tighter",
         [WITH_LIMITS, ("trip_volts: 3.58}", "trip_volts: 3.60}")],
         "# of the hold", f"{LIMITS}.hold.trip_volts",
         "3.6 V is not below overvoltage.trip_volts, 3.6 V", "less than 3.6"),
    Case("no limit in any stage",
         [("\nprotection:\n", "\nprotection:\n  stage_limits:\n    delay_seconds: 4\n")],
         "stage_limits:", LIMITS, "Neither taper nor hold has a limit", "leave stage_limits out"),
    Case("a hold without a limit",
         [("\nprotection:\n", "\nprotection:\n  stage_limits:\n    hold: {}\n")],
         "stage_limits:", LIMITS, "Neither taper nor hold has a limit", "leave stage_limits out"),
    Case("an end that nobody can see", [("end_amperes: 8\n", "end_amperes: 0.2\n")],
         "end_amperes: 0.2", f"{FULL}.end_amperes",
         "0.2 A is less than shunt and converter can tell from nothing, 0.25 A", "Write 0.25"),
    Case("pulses below the hold",
         [WITH_PULSES, ("close_below_volts: 3.50 #", "close_below_volts: 3.42 #")],
         "3.42 # closes", f"{PULSED}.close_below_volts",
         "3.42 V is not above charge.taper_above_volts", "Write 3.510 or so"),
    Case("rests that end before they may",
         [WITH_PULSES, ("3.50 # closes", "3.50\n    most_rest_minutes: 1 # at the most")],
         "# at the most", f"{PULSED}.most_rest_minutes",
         "1 min is no more than least_rest_seconds, 60 s", "more than 1"),
    Case("rests that begin a new session",
         [WITH_PULSES, ("3.50 # closes", "3.50\n    most_rest_minutes: 360 # at the most")],
         "# at the most", f"{PULSED}.most_rest_minutes",
         "360 min is not less than session.new_after_open_hours, 6 h", "less than 360"),
    Case("more readings than there are",
         [WITH_LIMITS, ("trip_amperes: 120} #", "trip_amperes: 120}\n    confirm: 6 #")],
         "confirm: 6", f"{LIMITS}.confirm", "6 out of 5 can never be reached", "at most 5"),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_contradiction(case: Case, hut_text: str, edited: Any, faults_in: Any) -> None:
    text = edited(hut_text, case.edits)
    found = faults_in(text)
    assert [fault.path for fault in found] == [case.path]
    assert case.problem in found[0].problem
    assert case.remedy in found[0].remedy
    assert found[0].why
    assert case.words in text.splitlines()[found[0].line - 1]


def test_pulses_need_an_end(hut_text: str, edited: Any, faults_in: Any) -> None:
    begin, end = (
        hut_text.index("  full:\n"),
        hut_text.index("  # After that, with the circuit open"),
    )
    profiles = hut_text.index("\nprofiles:\n")
    text = edited(hut_text[:profiles], [(hut_text[begin:end], ""), WITH_PULSES])
    (fault,) = faults_in(text)
    assert (fault.path, fault.problem) == (PULSED, "A pulsed hold needs charge.full.")
    assert "pulsed_hold:" in text.splitlines()[fault.line - 1]


def test_limits_of_a_stage_need_stages(hut_text: str, edited: Any, faults_in: Any) -> None:
    profiles = hut_text.index("\nprofiles:\n")
    text = edited(hut_text[:profiles], [*without_charge(hut_text), WITH_LIMITS])
    (fault,) = faults_in(text)
    assert (fault.path, fault.problem.split(":")[0]) == (LIMITS, "It needs a charge block")


def test_without_charge_and_limits_there_is_nothing_to_say(
    hut_text: str, edited: Any, faults_in: Any
) -> None:
    profiles = hut_text.index("\nprofiles:\n")
    assert faults_in(edited(hut_text[:profiles], without_charge(hut_text))) == ()


def test_two_contradictions_are_both_told(hut_text: str, edited: Any, faults_in: Any) -> None:
    text = edited(
        hut_text,
        [("target_amperes: 100", "target_amperes: 200"), ("hold_volts: 3.56", "hold_volts: 3.61")],
    )
    assert [fault.path for fault in faults_in(text)] == [
        "charge.target_amperes",
        "charge.hold_volts",
    ]


ALLOWED = [
    [WITH_LIMITS],
    [WITH_PULSES],
    [WITH_LIMITS, WITH_PULSES],
    [("hold_volts: 3.56", "hold_volts: 3.594")],
    [WITH_LIMITS, ("hold_volts: 3.56", "hold_volts: 3.574")],
    [("taper_above_volts: 3.42", "taper_above_volts: 3.519")],
    [WITH_PULSES, ("close_below_volts: 3.50 #", "close_below_volts: 3.554 #")],
    [WITH_PULSES, ("open_above_volts: 3.56 #", "open_above_volts: 3.521 #")],
    [("target_amperes: 100", "target_amperes: 129")],
    [("    # lowest_volts: 3.33", "    lowest_volts: 3.59")],
    [WITH_LIMITS, ("trip_amperes: 120}", "trip_amperes: 129}")],
    [WITH_LIMITS, ("trip_volts: 3.58}", "trip_volts: 3.599}")],
    [("\nprotection:\n", "\nprotection:\n  stage_limits:\n    hold: {trip_volts: 3.58}\n")],
]


@pytest.mark.parametrize("edits", ALLOWED, ids=str)
def test_no_contradiction(
    edits: list[tuple[str, str]], hut_text: str, edited: Any, faults_in: Any
) -> None:
    assert faults_in(edited(hut_text, edits)) == ()


def test_the_example_is_free_of_them(hut_settings: SupervisorSettings) -> None:
    assert contradictions(hut_settings) == []
