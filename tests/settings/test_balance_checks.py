"""Balance against the wiring and the other limits."""

from typing import Any

import pytest

from supervisor.settings.cross_checks import contradictions
from supervisor.settings.model import SupervisorSettings

PATH = "protection.balance.trip_volts"
BALANCE = "trip_volts: 0.05\n"


def of_balance(faults: Any) -> list[Any]:
    return [fault for fault in faults if fault.path.startswith("protection.balance")]


def test_needs_a_far_cell(hut_settings: SupervisorSettings) -> None:
    channels = hut_settings.channels.model_copy(update={"far_cell": None})
    found = of_balance(contradictions(hut_settings.model_copy(update={"channels": channels})))
    assert [c.path for c in found] == ["protection.balance"]
    assert "no far cell" in found[0].problem
    assert "Wire channels.far_cell" in found[0].remedy
    assert "protection.without" in found[0].remedy


def test_says_the_line_of_the_block(hut_text: str, edited: Any, faults_in: Any) -> None:
    start = hut_text.index("  far_cell:\n")
    end = hut_text.index("  # Charging current, positive")
    text = edited(hut_text, [(hut_text[start:end], "")])
    found = of_balance(faults_in(text))
    assert [text.splitlines()[fault.line - 1] for fault in found] == ["  balance:"]


@pytest.mark.parametrize(
    ("edits", "problem", "remedy"),
    [
        ([("bars_microohms: 30", "bars_microohms: 400")],
         "0.05 V is not more than the expected drop at overcurrent.trip_amperes, 0.052 V",
         "more than 0.052"),
        ([(BALANCE, "trip_volts: 0.0039\n")],
         "0.0039 V is not more than the expected drop at overcurrent.trip_amperes, 0.0039 V",
         "thicker bars"),
        ([(BALANCE, "trip_volts: 0.16\n")],
         "0.16 V is not below 0.15 V, the way from rate_of_rise.above_volts to overvoltage",
         "less than 0.15, such as 0.05"),
    ],
)  # fmt: skip
def test_contradiction(
    edits: list[tuple[str, str]],
    problem: str,
    remedy: str,
    hut_text: str,
    edited: Any,
    faults_in: Any,
) -> None:
    text = edited(hut_text, edits)
    found = of_balance(faults_in(text))
    assert [fault.path for fault in found] == [PATH]
    assert problem in found[0].problem
    assert remedy in found[0].remedy
    assert found[0].why
    assert "trip_volts: 0." in text.splitlines()[found[0].line - 1]


@pytest.mark.parametrize(
    "edits",
    [
        [("bars_microohms: 30", "bars_microohms: 0")],
        [("bars_microohms: 30", "bars_microohms: 384")],
        [(BALANCE, "trip_volts: 0.004\n")],
        [(BALANCE, "trip_volts: 0.149\n")],
    ],
)
def test_no_contradiction(
    edits: list[tuple[str, str]], hut_text: str, edited: Any, faults_in: Any
) -> None:
    assert of_balance(faults_in(edited(hut_text, edits))) == []


def test_one_mistake_is_told_once(hut_text: str, edited: Any, faults_in: Any) -> None:
    """Slope watched from above the overvoltage limit on: that is not balance's fault."""
    faults = faults_in(edited(hut_text, [("above_volts: 3.45", "above_volts: 3.60")]))
    assert of_balance(faults) == []


def test_nothing_to_say_without_the_rule(hut_settings: SupervisorSettings) -> None:
    without = hut_settings.protection.without.model_copy(update={"balance": "no second pair left"})
    protection = hut_settings.protection.model_copy(update={"balance": None, "without": without})
    settings = hut_settings.model_copy(update={"protection": protection})
    assert of_balance(contradictions(settings)) == []
