"""Every rule is explained, and nothing that is not there."""

from supervisor.protection.rulebook import build_rules
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import Protection
from supervisor.sizing.explain import EXPLANATIONS


def test_every_rule_is_explained() -> None:
    assert set(EXPLANATIONS) == {*Protection.model_fields, "hang"}


def test_function_numbers_are_the_rules_own(hut_settings: SupervisorSettings) -> None:
    for rule in build_rules(hut_settings):
        assert EXPLANATIONS[rule.key].function == rule.function


def test_typical_values_are_of_settings_that_exist() -> None:
    for rule, told in EXPLANATIONS.items():
        assert told.typical
        for typical in told.typical:
            assert typical.source
            if rule != "hang":
                block = Protection.model_fields[rule].annotation
                assert block is not None
                assert set(typical.key.split(" / ")) <= set(block.model_fields)
