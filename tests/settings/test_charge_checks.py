"""The charge among its own values, and below the limits; the limits of a stage."""

import re
from typing import Any, NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.settings.cross_checks import contradictions
from supervisor.settings.cross_checks.charge import charge_checks
from supervisor.settings.load import settings_from
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.text import parse
from supervisor.sizing.fitness import with_value


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
         "3.42 V is not below the hold, which begins at 3.42 V", "such as 3.37"),
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
         "130 A is not below overcurrent.trip_amperes, 130 A", "Write 116 or less"),
    Case("any hold is full", [("end_amperes: 8\n", "end_amperes: 100\n")],
         "end_amperes: 100", f"{FULL}.end_amperes",
         "100 A is not below charge.target_amperes, 100 A", "a small part of the target"),
    Case("no rest could pass",
         [("    # lowest_volts: 3.33", "    lowest_volts: 3.55")],
         "lowest_volts: 3.55", f"{REST}.lowest_volts",
         "3.55 V is not below charge.rest.highest_volts, 3.55 V",
         "come to rest: 3.33, and"),
    Case("a taper that is not tighter",
         [WITH_LIMITS, ("trip_amperes: 120}", "trip_amperes: 130}")],
         "# of the taper", f"{LIMITS}.taper.trip_amperes",
         "130 A is not below overcurrent.trip_amperes, 130 A", "less than 130"),
    Case("a hold that is not tighter", [WITH_LIMITS, ("trip_amperes: 60,", "trip_amperes: 131,")],
         "# of the hold", f"{LIMITS}.hold.trip_amperes",
         "131 A is not below overcurrent.trip_amperes, 130 A", "Write 120 or less"),
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
         "0.2 A cannot be told from the offset", "Write 1.25 at least"),
    Case("pulses below the hold",
         [WITH_PULSES, ("close_below_volts: 3.50 #", "close_below_volts: 3.42 #")],
         "3.42 # closes", f"{PULSED}.close_below_volts",
         "3.42 V is not above charge.taper_above_volts", "Write 3.510 or so"),
    Case("rests that end before they may",
         [WITH_PULSES, ("3.50 # closes", "3.50\n    most_rest_minutes: 1 # at the most")],
         "# at the most", f"{PULSED}.most_rest_minutes",
         "1 min is no more than least_rest_seconds, 60 s", "more than 1."),
    Case("rests that end before they may, by a part of a minute",
         [WITH_PULSES,
          ("3.50 # closes",
           "3.50\n    least_rest_seconds: 80\n    most_rest_minutes: 1 # at the most")],
         "# at the most", f"{PULSED}.most_rest_minutes",
         "1 min is no more than least_rest_seconds, 80 s", "more than 2."),
    Case("pulses that close in the taper, of a hold close above it",
         [WITH_PULSES, ("taper_above_volts: 3.42", "taper_above_volts: 3.515"),
          ("close_below_volts: 3.50 #", "close_below_volts: 3.51 #")],
         "3.51 # closes", f"{PULSED}.close_below_volts",
         "3.51 V is not above charge.taper_above_volts", "Write 3.535 or so"),
    Case("an end that a dead supply's offset may be",
         [("    # zero_amperes: 1.0", "    zero_amperes: 2.0"),
          ("end_amperes: 8\n", "end_amperes: 2\n"),
          ("      charge.full.end_amperes: 4\n", "      charge.full.end_amperes: 5\n")],
         "end_amperes: 2", f"{FULL}.end_amperes",
         "2 A cannot be told from the offset that sensing.zero_amperes allows, 2 A",
         "Write 2.25 at least"),
    Case("an end within the offset and a step of the converter",
         [("end_amperes: 8\n", "end_amperes: 1.2\n")],
         "end_amperes: 1.2", f"{FULL}.end_amperes",
         "1.2 A cannot be told from the offset that sensing.zero_amperes allows, 1 A, and what "
         "shunt and converter can tell, 0.25 A", "Write 1.25 at least"),
    Case("more than the transformer bears", [("target_amperes: 100", "target_amperes: 117")],
         "target_amperes: 117", "charge.target_amperes",
         "117 A are 140.4 A effective (form_factor 1.2), more than the transformer of "
         "supply_thermal bears for ever, 140 A", "Write 116 or less"),
    Case("more than the rectifier bears",
         [("      continuous_amperes: 150", "      continuous_amperes: 110")],
         "target_amperes: 100", "charge.target_amperes",
         "more than the rectifier of supply_thermal bears for ever, 110 A", "Write 91.6 or less"),
    Case("a hold looser than the taper",
         [WITH_LIMITS, ("trip_amperes: 60,", "trip_amperes: 121,")],
         "# of the hold", f"{LIMITS}.hold.trip_amperes",
         "121 A is above that of the taper, 120 A", "Write 120 or less"),
    Case("rests that begin a new session",
         [WITH_PULSES, ("3.50 # closes", "3.50\n    most_rest_minutes: 960 # at the most")],
         "# at the most", f"{PULSED}.most_rest_minutes",
         "960 min is not less than session.new_after_open_hours, 16 h", "less than 960"),
    Case("a taper's limit that nothing passes",
         [WITH_LIMITS, ("trip_amperes: 120}", "trip_amperes: 0.05}"),
          ("trip_amperes: 60, ", "")],
         "# of the taper", f"{LIMITS}.taper.trip_amperes",
         "0.05 A cannot be told from the offset that sensing.zero_amperes allows, 1 A, and what "
         "shunt and converter can tell, 0.25 A",
         "Write 1.25 at least: more than the bank takes in the taper"),
    Case("a hold's limit within offset and noise",
         [WITH_LIMITS, ("trip_amperes: 60,", "trip_amperes: 1.2,")],
         "# of the hold", f"{LIMITS}.hold.trip_amperes",
         "1.2 A cannot be told from the offset", "Write 1.25 at least"),
    Case("a small supply that is as large as the large one",
         [("bench_supply_amperes: 10\n", "bench_supply_amperes: 100\n")],
         "bench_supply_amperes: 100", "charge.bench_supply_amperes",
         "100 A is not below charge.target_amperes, 100 A", "Write less than 100, or leave it out"),
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
    [("target_amperes: 100", "target_amperes: 116.6")],
    [WITH_LIMITS, ("trip_amperes: 60,", "trip_amperes: 120,")],
    [("end_amperes: 8\n", "end_amperes: 1.25\n")],
    [("    # lowest_volts: 3.33", "    lowest_volts: 3.54")],
    [WITH_LIMITS, ("trip_amperes: 120}", "trip_amperes: 129}")],
    [WITH_LIMITS, ("trip_volts: 3.58}", "trip_volts: 3.599}")],
    [("\nprotection:\n", "\nprotection:\n  stage_limits:\n    hold: {trip_volts: 3.58}\n")],
    [WITH_LIMITS, ("trip_amperes: 60,", "trip_amperes: 1.25,")],
    [("bench_supply_amperes: 10\n", "bench_supply_amperes: 99\n")],
    [
        ("bench_supply_amperes: 10\n", "bench_supply_amperes: 100\n"),
        ("  # regulated: false", "  regulated: true"),
    ],
]


@pytest.mark.parametrize("edits", ALLOWED, ids=str)
def test_no_contradiction(
    edits: list[tuple[str, str]], hut_text: str, edited: Any, faults_in: Any
) -> None:
    assert faults_in(edited(hut_text, edits)) == ()


def test_the_example_is_free_of_them(hut_settings: SupervisorSettings) -> None:
    assert contradictions(hut_settings) == []


# What a remedy proposes passes the check that proposes it

PROPOSED = re.compile(r"(?:^Write|such as)( less than| more than)? (\d+(?:\.\d+)?)")
NUDGE = {" less than": -1e-4, " more than": 1e-4}


def grid(low: float, high: float, digits: int = 3) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda value: round(value, digits))


VALUES = st.fixed_dictionaries(
    {
        "charge.hold_volts": grid(3.3, 3.7),
        "charge.band_volts": grid(0.005, 0.15),
        "charge.taper_above_volts": grid(2.3, 3.7),
        "charge.target_amperes": grid(0.5, 200, 1),
        "charge.bench_supply_amperes": grid(0.5, 200, 1),
        "charge.full.end_amperes": grid(0.01, 20, 2),
        "charge.pulsed_hold.open_above_volts": grid(3.3, 3.7),
        "charge.pulsed_hold.close_below_volts": grid(3.2, 3.7),
        "charge.pulsed_hold.least_rest_seconds": grid(10, 3600, 0),
        "charge.pulsed_hold.most_rest_minutes": grid(1, 1440, 0),
        "charge.rest.lowest_volts": grid(3.2, 3.6),
        "charge.rest.highest_volts": grid(3.2, 3.6),
        "session.new_after_open_hours": grid(1, 24, 2),
        "channels.shunt.rated_amperes": st.sampled_from((20.0, 50.0, 200.0, 500.0)),
        "protection.overvoltage.trip_volts": grid(3.4, 3.7),
        "protection.undervoltage.trip_volts": grid(2.0, 3.5),
        "protection.overcurrent.trip_amperes": grid(0.7, 150, 1),
        "protection.sensing.zero_amperes": grid(0.05, 3, 2),
        "protection.supply_thermal.form_factor": grid(1, 2, 2),
        "protection.supply_thermal.rectifier.continuous_amperes": grid(1, 200, 1),
        "protection.stage_limits.taper.trip_amperes": grid(0.1, 160, 1),
        "protection.stage_limits.hold.trip_amperes": grid(0.1, 160, 1),
        "protection.stage_limits.hold.trip_volts": grid(3.4, 3.7),
    }
)


@pytest.fixture(scope="module")
def with_everything(hut_text: str, edited: Any) -> SupervisorSettings:
    return settings_from(parse(edited(hut_text, [WITH_LIMITS, WITH_PULSES]), "hut.yaml"))


@given(values=VALUES)
@settings(max_examples=300)
def test_a_proposed_value_passes(
    values: dict[str, float], with_everything: SupervisorSettings
) -> None:
    drawn = with_everything
    for path, value in values.items():
        drawn = with_value(drawn, path, value)
    for found in charge_checks(drawn):
        for way, figure in PROPOSED.findall(found.remedy):
            value = float(figure) + NUDGE.get(way, 0.0)
            again = charge_checks(with_value(drawn, found.path, value))
            assert found.path not in [other.path for other in again], found.remedy
