"""All rules of the settings, in one place, each once."""

from supervisor.protection.decision import Protection
from supervisor.protection.rulebook import build_rules
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import Protection as ProtectionSettings


def test_every_rule_of_the_settings_is_built_once(hut_settings: SupervisorSettings) -> None:
    keys = [rule.key for rule in build_rules(hut_settings)]
    assert sorted(keys) == sorted(ProtectionSettings.model_fields)


def test_overvoltage_names_a_trip_before_all_others(hut_settings: SupervisorSettings) -> None:
    keys = [rule.key for rule in build_rules(hut_settings)]
    assert keys[:4] == ["overvoltage", "overvoltage_high_set", "sensing", "stale"]


def test_every_rule_says_what_to_do(hut_settings: SupervisorSettings) -> None:
    for rule in build_rules(hut_settings):
        assert len(rule.remedy) > 40


def test_protection_runs_the_rules_of_the_rulebook(hut_settings: SupervisorSettings) -> None:
    built = [type(rule) for rule in build_rules(hut_settings)]
    assert [type(rule) for rule in Protection(hut_settings).rules] == built
