"""Limits that tell sensing faults from readings, against the other settings."""

from math import nextafter
from typing import Any

import pytest

from supervisor.settings.cross_checks import contradictions
from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.sensing import sensing_checks
from supervisor.settings.model import SupervisorSettings

ZERO = "protection.sensing.zero_amperes"
STEP = "protection.sensing.step_amperes"
LEAST = "protection.sensing.least_answer_microohms"
OPEN = "channels.{}.open_lead_volts"


def sensing(settings: SupervisorSettings, **changes: float) -> SupervisorSettings:
    block = settings.protection.sensing.model_copy(update=changes)
    protection = settings.protection.model_copy(update={"sensing": block})
    return settings.model_copy(update={"protection": protection})


def cells(settings: SupervisorSettings, number: int) -> SupervisorSettings:
    bank = settings.bank.model_copy(update={"cells_in_parallel": number})
    return settings.model_copy(update={"bank": bank})


def channel(settings: SupervisorSettings, name: str, **changes: Any) -> SupervisorSettings:
    wiring = getattr(settings.channels, name).model_copy(update=changes)
    channels = settings.channels.model_copy(update={name: wiring})
    return settings.model_copy(update={"channels": channels})


def found(settings: SupervisorSettings) -> list[Contradiction]:
    return list(sensing_checks(settings))


def told(settings: SupervisorSettings) -> list[tuple[str, str, str]]:
    """Path, problem and remedy."""
    return [(c.path, c.problem, c.remedy) for c in found(settings)]


def test_the_example_is_in_order_and_the_checks_are_asked(
    hut_settings: SupervisorSettings,
) -> None:
    assert found(hut_settings) == []
    wrong = sensing(hut_settings, zero_amperes=3.0)
    assert set(found(wrong)) <= set(contradictions(wrong))


def test_zero_not_below_what_means_that_it_has_not_opened(
    hut_settings: SupervisorSettings,
) -> None:
    assert told(sensing(hut_settings, zero_amperes=3.0)) == [
        (ZERO, "3 A is not below failed_to_open.current_amperes, 3 A.",
         "Write less than 3, such as 1.2."),
    ]  # fmt: skip
    assert found(sensing(hut_settings, zero_amperes=nextafter(3.0, 0))) == []


def test_zero_less_than_shunt_and_converter_can_tell(hut_settings: SupervisorSettings) -> None:
    """8 codes of 7.8125 uV over 250 uOhm: 0.25 A."""
    assert told(sensing(hut_settings, zero_amperes=nextafter(0.25, 0))) == [
        (ZERO, "0.25 A is less than shunt and converter can tell from nothing, 0.25 A.",
         "Write more than 0.25, or use a shunt with more millivolts."),
    ]  # fmt: skip
    assert found(sensing(hut_settings, zero_amperes=0.25)) == []


@pytest.mark.parametrize(
    ("step_a", "is_refused"),
    [
        (1.0, True),
        (nextafter(1.0, 2), False),
        (65.0, False),
        (nextafter(65.0, 66), True),
        (500.0, True),
    ],
)
def test_a_step_lies_between_nothing_and_too_much(
    hut_settings: SupervisorSettings, step_a: float, is_refused: bool
) -> None:
    faults = found(sensing(hut_settings, step_amperes=step_a))
    assert [fault.path for fault in faults] == [STEP] * is_refused
    for fault in faults:
        assert "zero_amperes, 1 A" in fault.problem
        assert "half of overcurrent.trip_amperes, 65 A" in fault.problem


@pytest.mark.parametrize(
    ("number", "least", "is_refused"),
    [
        (50, 2.0, False),
        (51, 2.0, True),
        (51, 1.96, False),
        (1000, 0.1, False),
        (1, 100.0, False),
        (1, 100.1, True),
        (32, 3.125, False),
        (32, 3.13, True),
    ],
)
def test_a_least_answer_that_a_healthy_bank_may_fall_short_of(
    hut_settings: SupervisorSettings, number: int, least: float, is_refused: bool
) -> None:
    """100 microohms a cell at the least: common practice, no source."""
    settings = cells(sensing(hut_settings, least_answer_microohms=least), number)
    faults = found(settings)
    assert [fault.path for fault in faults] == [LEAST] * is_refused


def test_its_words(hut_settings: SupervisorSettings) -> None:
    assert told(cells(hut_settings, 80)) == [
        (LEAST, "2 microohms are more than 80 good cells in parallel may have, 1.25.",
         "Write at most 1.25."),
    ]  # fmt: skip


@pytest.mark.parametrize("name", ["front_cell", "far_cell"])
@pytest.mark.parametrize(("volts", "is_refused"), [(0.71, False), (0.715, True), (0.9, True)])
def test_an_open_lead_must_not_look_like_a_cell(
    hut_settings: SupervisorSettings, name: str, volts: float, is_refused: bool
) -> None:
    """0.715 V and 40 % more are 1.001 V: a live cell reads from 1.0 V on."""
    faults = found(channel(hut_settings, name, open_lead_volts=volts))
    assert [fault.path for fault in faults] == [OPEN.format(name)] * is_refused
    for fault in faults:
        assert fault.problem == (
            f"{volts:g} V, give or take 40%, come up to the lower end of plausible_volts, 1 V."
        )
        assert fault.remedy == "Write less than 0.71, with a bias resistor to suit."


def test_exactly_at_the_lower_end_is_too_much(hut_settings: SupervisorSettings) -> None:
    level = {"open_lead_volts": 0.5}
    at_it = channel(hut_settings, "front_cell", plausible_volts=(1.4 * 0.5, 4.05), **level)
    above = channel(hut_settings, "front_cell", plausible_volts=(0.701, 4.05), **level)
    assert len(found(at_it)) == 1
    assert found(above) == []


@pytest.mark.parametrize(
    ("volts", "offset_v", "is_refused"),
    [(0.1, 0.0, False), (0.1, 0.0095, False), (0.1, 0.011, True), (0.2, 0.07, True),
     (0.2, 0.06, False), (0.1, -0.1, False)],
)  # fmt: skip
def test_an_open_lead_must_not_look_like_a_shorted_one(
    hut_settings: SupervisorSettings, volts: float, offset_v: float, is_refused: bool
) -> None:
    """0.1 V less 40 % are 0.06 V; a shorted lead reads the offset, give or take 0.05 V."""
    settings = channel(hut_settings, "front_cell", open_lead_volts=volts, offset_volts=offset_v)
    faults = found(settings)
    assert [fault.path for fault in faults] == [OPEN.format("front_cell")] * is_refused
    for fault in faults:
        assert "could not be told from a shorted one" in fault.why
        assert f"reads, {offset_v + 0.05:g} V." in fault.problem
        assert f"more than {(offset_v + 0.05) / 0.6:.2f}" in fault.remedy
