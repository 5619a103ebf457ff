"""All rules of the settings, in one place, each once."""

from pathlib import Path

import pytest
from full_bank import full_settings

from supervisor.protection.decision import Protection as Judge
from supervisor.protection.rulebook import build_rules
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.protection import RULE_KEYS, Protection

OPTIONAL = {
    "overcurrent_inverse", "supply_thermal", "temperature", "knob_speed", "balance",
    "session_time", "session_charge", "session_hold", "stage_limits",
}  # fmt: skip


@pytest.fixture
def full(hut_path: Path) -> SupervisorSettings:
    return full_settings(hut_path.read_text("utf-8"))


def test_every_rule_of_the_settings_is_built_once(full: SupervisorSettings) -> None:
    assert sorted(rule.key for rule in build_rules(full)) == sorted(RULE_KEYS)


@pytest.mark.parametrize("key", sorted(OPTIONAL))
def test_a_rule_without_its_block_is_not_built(full: SupervisorSettings, key: str) -> None:
    without = full.protection.model_copy(update={key: None})
    keys = {rule.key for rule in build_rules(full.model_copy(update={"protection": without}))}
    assert keys == set(RULE_KEYS) - {key}


def test_the_second_line_has_a_rule_only_when_it_is_fitted(full: SupervisorSettings) -> None:
    keys = {rule.key for rule in build_rules(full.model_copy(update={"second_line": None}))}
    assert keys == set(RULE_KEYS) - {"second_line"}


def test_no_other_rule_can_be_left_out() -> None:
    """The settings class itself refuses: there is no default for them, or one that is in force."""
    fields = Protection.model_fields
    assert {name for name in fields if fields[name].default is None} == OPTIONAL


def test_overvoltage_names_a_trip_before_all_others(hut_settings: SupervisorSettings) -> None:
    keys = [rule.key for rule in build_rules(hut_settings)]
    assert keys[:4] == ["overvoltage", "overvoltage_high_set", "sensing", "stale"]


def test_every_rule_says_what_to_do(full: SupervisorSettings) -> None:
    for rule in build_rules(full):
        assert len(rule.remedy) > 40


def test_protection_runs_the_rules_of_the_rulebook(hut_settings: SupervisorSettings) -> None:
    built = [type(rule) for rule in build_rules(hut_settings)]
    assert [type(rule) for rule in Judge(hut_settings).rules] == built
