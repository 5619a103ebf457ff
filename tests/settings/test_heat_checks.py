"""The inverse-time curve and the supply's heat, against the other limits on current."""

from math import nextafter
from typing import Any

import pytest

from supervisor.settings.cross_checks import contradictions
from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.heat import heat_checks
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import HeatedPart, OvercurrentInverse

PICKUP = "protection.overcurrent_inverse.trip_amperes"
RESET = "protection.overcurrent_inverse.reset_seconds"
HEAT = "protection.supply_thermal"


def with_rules(settings: SupervisorSettings, **blocks: Any) -> SupervisorSettings:
    protection = settings.protection.model_copy(update=blocks)
    return settings.model_copy(update={"protection": protection})


def with_parts(
    settings: SupervisorSettings, rectifier_a: float, transformer_a: float | None
) -> SupervisorSettings:
    def part(amperes: float) -> HeatedPart:
        return HeatedPart.model_construct(continuous_amperes=amperes, time_constant_seconds=300.0)

    rule = settings.protection.supply_thermal
    assert rule is not None
    parts = {"rectifier": part(rectifier_a), "transformer": transformer_a and part(transformer_a)}
    return with_rules(settings, supply_thermal=rule.model_copy(update=parts))


def found(settings: SupervisorSettings, path: str) -> list[Contradiction]:
    return [c for c in heat_checks(settings) if c.path == path]


def test_the_example_is_in_order(hut_settings: SupervisorSettings) -> None:
    inverse = OvercurrentInverse(trip_amperes=115)
    settings = with_rules(hut_settings, overcurrent_inverse=inverse)
    assert contradictions(hut_settings) == contradictions(settings) == []


def test_without_the_rules_there_is_nothing_to_check(hut_settings: SupervisorSettings) -> None:
    settings = with_rules(hut_settings, overcurrent_inverse=None, supply_thermal=None)
    assert not [c for path in (PICKUP, RESET, HEAT) for c in found(settings, path)]


@pytest.mark.parametrize(
    ("amperes", "is_refused"), [(nextafter(130.0, 0), False), (130.0, True), (140.0, True)]
)
def test_a_pickup_that_the_definite_time_covers(
    hut_settings: SupervisorSettings, amperes: float, is_refused: bool
) -> None:
    inverse = OvercurrentInverse(trip_amperes=amperes)
    faults = found(with_rules(hut_settings, overcurrent_inverse=inverse), PICKUP)
    assert bool(faults) is is_refused
    for fault in faults:
        assert f"{amperes:g} A is not below overcurrent.trip_amperes, 130 A" in fault.problem
        assert "watch nothing" in fault.why
        assert "below 130" in fault.remedy


@pytest.mark.parametrize(
    ("written", "is_refused"),
    [
        ({"curve": "ieee_very_inverse", "reset_seconds": 60}, True),
        ({"curve": "ieee_very_inverse"}, False),
        ({"curve": "iec_very_inverse", "reset_seconds": 60}, False),
    ],
)
def test_a_reset_time_that_holds_for_no_curve(
    hut_settings: SupervisorSettings, written: dict[str, Any], is_refused: bool
) -> None:
    """Also when it is the default: what is written must mean something."""
    inverse = OvercurrentInverse(trip_amperes=115, **written)
    faults = found(with_rules(hut_settings, overcurrent_inverse=inverse), RESET)
    assert bool(faults) is is_refused
    for fault in faults:
        assert "With ieee_very_inverse this key says nothing" in fault.problem
        assert "curve of their own" in fault.why
        assert "Take the key out" in fault.remedy


@pytest.mark.parametrize(
    ("rectifier_a", "transformer_a", "is_refused"),
    [
        (156.0, None, True),
        (nextafter(156.0, 0), None, False),
        (400.0, 156.0, True),
        (156.0, 400.0, True),
        (400.0, 155.9, False),
        (155.9, 400.0, False),
    ],
)
def test_parts_that_bear_all_that_may_flow(
    hut_settings: SupervisorSettings,
    rectifier_a: float,
    transformer_a: float | None,
    is_refused: bool,
) -> None:
    """130 A mean at a form factor of 1.2 are 156 A effective: no more may flow for long."""
    faults = found(with_parts(hut_settings, rectifier_a, transformer_a), HEAT)
    assert bool(faults) is is_refused
    for fault in faults:
        assert "bear 156 A effective for ever" in fault.problem
        assert "130 A, is no more than 156 A effective" in fault.problem
        assert "never trip" in fault.why
        assert "below 156" in fault.remedy
        assert "`without`" in fault.remedy


def test_it_is_told_at_its_line(hut_text: str, edited: Any, faults_in: Any) -> None:
    text = edited(
        hut_text,
        [("continuous_amperes: 150", "continuous_amperes: 400"),
         ("continuous_amperes: 140", "continuous_amperes: 300")],
    )  # fmt: skip
    (fault,) = [f for f in faults_in(text) if f.path == HEAT]
    assert text.splitlines()[fault.line - 1] == "  supply_thermal:"
