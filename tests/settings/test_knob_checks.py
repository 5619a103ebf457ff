"""Speed of the knob: a limit that could never act, or that an ordinary charge would pass."""

from math import nextafter
from typing import Any

import pytest
from cycles import with_rule

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.knob import knob_checks
from supervisor.settings.model import SupervisorSettings

VOLTS = "protection.knob_speed.trip_volts_per_second"
STEEP = 0.06 / 60  # V/s, the example's rate_of_rise
FASTEST = 0.02


def found(settings: SupervisorSettings, **knob: Any) -> list[Contradiction]:
    return list(knob_checks(with_rule(settings, "knob_speed", **knob)))


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        (STEEP, "not more than rate_of_rise"),
        (nextafter(STEEP, 1), None),
        (nextafter(FASTEST, 0), None),
        (FASTEST, "not below bank.fastest_rise"),
    ],
)
def test_between_an_ordinary_rise_and_the_fastest(
    hut_settings: SupervisorSettings, limit: float, words: str | None
) -> None:
    told = found(hut_settings, trip_volts_per_second=limit)
    assert [fault.path for fault in told] == [VOLTS] * (words is not None)
    for fault in told:
        assert words is not None
        assert words in fault.problem
        assert fault.remedy == "Write a value between 0.001 and 0.02, such as 0.0105."
        assert found(hut_settings, trip_volts_per_second=0.0105) == []


def test_with_nothing_in_between_the_other_limit_is_told(hut_settings: SupervisorSettings) -> None:
    bank = hut_settings.bank.model_copy(update={"fastest_rise_volts_per_second": 0.0008})
    told = found(hut_settings.model_copy(update={"bank": bank}), trip_volts_per_second=0.0009)
    assert {fault.path for fault in told} == {VOLTS}
    assert "rate_of_rise.trip_volts_per_minute: less than 0.048" in told[0].remedy


@pytest.mark.parametrize(("limit", "is_refused"), [(64.9, False), (65.0, True)])
def test_not_from_nothing_to_overcurrent_within_the_stretch(
    hut_settings: SupervisorSettings, limit: float, is_refused: bool
) -> None:
    """65 A/s over 2 s are the 130 A at which overcurrent trips."""
    told = found(hut_settings, trip_amperes_per_second=limit)
    assert [fault.path for fault in told] == [
        "protection.knob_speed.trip_amperes_per_second"
    ] * is_refused


def test_no_rule_no_fault(hut_settings: SupervisorSettings) -> None:
    rules = hut_settings.protection.model_copy(update={"knob_speed": None})
    assert list(knob_checks(hut_settings.model_copy(update={"protection": rules}))) == []
