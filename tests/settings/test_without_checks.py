"""A rule the risk needs is there, or its absence has a reason: one of the two, and never both."""

from typing import Any

import pytest

from supervisor.settings.cross_checks.permission import permission_checks
from supervisor.settings.cross_checks.without import without_checks
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.protection import Without

NEEDED = ["supply_thermal", "temperature", "balance", "session_time", "session_charge"]
WHY = "no means for it here"


def with_rules(
    settings: SupervisorSettings, rule: str, *, block: bool, reason: bool
) -> SupervisorSettings:
    blocks = settings.protection
    present = getattr(blocks, rule) or blocks.session_time  # any block will do
    without = blocks.without.model_copy(update={rule: WHY if reason else None})
    protection = blocks.model_copy(update={rule: present if block else None, "without": without})
    return settings.model_copy(update={"protection": protection})


def told(settings: SupervisorSettings, rule: str) -> list[Any]:
    return [c for c in without_checks(settings) if c.path == f"protection.{rule}"]


def test_these_are_the_rules_the_risk_needs() -> None:
    assert list(Without.model_fields) == NEEDED


@pytest.mark.parametrize("rule", NEEDED)
def test_neither_block_nor_reason(hut_settings: SupervisorSettings, rule: str) -> None:
    (found,) = told(with_rules(hut_settings, rule, block=False, reason=False), rule)
    assert found.problem == f"There is no rule {rule}, and no reason why."
    assert "must say so" in found.why
    assert f"Add the block `{rule}:` below protection" in found.remedy
    assert f"below protection.without the line `{rule}: ` and the reason" in found.remedy


@pytest.mark.parametrize("rule", NEEDED)
def test_both_block_and_reason(hut_settings: SupervisorSettings, rule: str) -> None:
    settings = with_rules(hut_settings, rule, block=True, reason=True)
    (found,) = told(settings, rule)
    assert "is there, and `without` says" in found.problem
    assert found.why
    assert f"Take `{rule}:` out of protection.without" in found.remedy


@pytest.mark.parametrize("rule", NEEDED)
def test_a_reason_alone_is_enough(hut_settings: SupervisorSettings, rule: str) -> None:
    assert told(with_rules(hut_settings, rule, block=False, reason=True), rule) == []


@pytest.mark.parametrize("rule", NEEDED)
def test_the_block_alone_is_enough(hut_settings: SupervisorSettings, rule: str) -> None:
    assert told(with_rules(hut_settings, rule, block=True, reason=False), rule) == []


def test_the_line_of_a_missing_block_is_that_of_its_parent(
    hut_text: str, edited: Any, faults_in: Any
) -> None:
    text = edited(hut_text, [("    temperature: Example", "    # temperature: Example")])
    faults = faults_in(text.replace("  without:\n", "  # without:\n"))
    (fault,) = [fault for fault in faults if fault.path == "protection.temperature"]
    assert text.splitlines()[fault.line - 1] == "protection:"


def test_the_line_of_a_reason_too_many_is_that_of_the_block(
    hut_text: str, edited: Any, faults_in: Any
) -> None:
    text = edited(hut_text, [("    # balance: none", f"    balance: {WHY}")])
    (fault,) = faults_in(text)
    assert text.splitlines()[fault.line - 1] == "  balance:"


@pytest.mark.parametrize("reason", ["        ", "........", "\u200b" * 8, "no no no"])
def test_a_reason_that_says_nothing(hut_settings: SupervisorSettings, reason: str) -> None:
    """Blanks, dots, invisible characters: eight letters or digits at the least."""
    without = hut_settings.protection.without.model_copy(update={"temperature": reason})
    protection = hut_settings.protection.model_copy(update={"without": without})
    found = list(without_checks(hut_settings.model_copy(update={"protection": protection})))
    assert [fault.path for fault in found] == ["protection.without.temperature"]
    assert "says nothing" in found[0].problem
    build = hut_settings.model_copy(update={"uncommissioned_reason": reason})
    assert [fault.path for fault in permission_checks(build)] == ["uncommissioned_reason"]
