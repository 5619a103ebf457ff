"""Settings that would let a cell get too high are refused, with what to write instead."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.settings.document import Document
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.load import load_settings, read_document
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.fitness import (
    examine,
    load_fit,
    unfit_settings,
    with_value,
)
from supervisor.sizing.response import budgets

OVERVOLTAGE = "protection.overvoltage.trip_volts"
HIGH_SET = "protection.overvoltage_high_set.trip_volts"
BALANCE = "protection.balance.trip_volts"
LOOK_AHEAD = "protection.rate_of_rise.look_ahead_seconds"


@pytest.fixture(scope="module")
def document(hut_path: Path) -> Document:
    return read_document(hut_path)


def unfit(settings: SupervisorSettings, document: Document, **values: float) -> list[Fault]:
    for key, value in values.items():
        settings = with_value(settings, key.replace("__", "."), value)
    return unfit_settings(settings, document)


def written(path: Path, hut_path: Path, *changes: tuple[str, str]) -> Path:
    text = hut_path.read_text()
    for old, new in changes:
        assert text.count(old) == 1
        text = text.replace(old, new)
    path.write_text(text)
    return path


def test_the_example_is_fit(hut_path: Path) -> None:
    assert load_fit(hut_path) == load_settings(hut_path)[0]


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (OVERVOLTAGE, 3.64),
        (HIGH_SET, 3.645),
        (LOOK_AHEAD, 0.5),
        ("protection.stale.trip_after_seconds", 4.0),
        ("protection.sensing.trip_after_seconds", 4.0),
        ("loop.lease_milliseconds", 2000.0),
    ],
)
def test_the_value_named_is_accepted_and_one_step_more_is_not(
    hut_settings: SupervisorSettings, document: Document, path: str, value: float
) -> None:
    slow = with_value(hut_settings, "bank.fastest_rise_volts_per_second", 0.025)
    contactor = slow.contactor.model_copy(update={"drive": "level"})
    level = slow.model_copy(update={"contactor": contactor})
    calm = with_value(with_value(level, OVERVOLTAGE, 3.572), HIGH_SET, 3.6)
    assert unfit_settings(calm, document) == []

    (fault,) = unfit_settings(with_value(calm, path, value), document)
    assert fault.path == path
    assert fault.line == document.line(path)
    named = float(fault.remedy.split(f"{path}: ")[1].split()[0])
    assert unfit_settings(with_value(calm, path, named), document) == []

    step = 1.0 if path.endswith("milliseconds") else 0.001
    beyond = named - step if path == LOOK_AHEAD else named + step
    assert unfit_settings(with_value(calm, path, beyond), document) != []


def test_the_sum_is_told(hut_settings: SupervisorSettings, document: Document) -> None:
    (fault,) = unfit(hut_settings, document, protection__overvoltage__trip_volts=3.64)
    assert "3.6850 V" in fault.problem
    assert "3.6483 V" in fault.why
    assert "0.0367 V" in fault.why
    assert "1.833 s" in fault.why


def test_one_mistake_is_told_once(hut_settings: SupervisorSettings, document: Document) -> None:
    """A limit far too high moves what every other rule starts from; that is no second fault."""
    (fault,) = unfit(hut_settings, document, protection__overvoltage__trip_volts=3.8)
    assert fault.path == OVERVOLTAGE


def test_a_second_mistake_is_told_as_well(
    hut_settings: SupervisorSettings, document: Document
) -> None:
    faults = unfit(
        hut_settings,
        document,
        protection__overvoltage__trip_volts=3.8,
        protection__stale__trip_after_seconds=5.0,
    )
    assert [fault.path for fault in faults] == [OVERVOLTAGE, "protection.stale.trip_after_seconds"]


def test_a_contactor_too_slow_for_any_limit_is_told_so(
    hut_settings: SupervisorSettings, document: Document
) -> None:
    faults = unfit(
        hut_settings,
        document,
        bank__fastest_rise_volts_per_second=1.0,
        contactor__release_milliseconds=60000.0,
    )
    assert faults[0].path == OVERVOLTAGE
    assert f"No value of {OVERVOLTAGE} helps" in faults[0].remedy


@given(st.floats(3.3, 3.649), st.floats(0, 20), st.floats(1e-4, 0.1))
def test_refused_exactly_when_a_budget_does_not_fit(
    hut_settings: SupervisorSettings,
    document: Document,
    limit_v: float,
    delay_s: float,
    rise_v_per_s: float,
) -> None:
    settings = with_value(hut_settings, OVERVOLTAGE, limit_v)
    settings = with_value(settings, "protection.overvoltage.delay_seconds", delay_s)
    settings = with_value(settings, "bank.fastest_rise_volts_per_second", rise_v_per_s)
    assert bool(unfit_settings(settings, document)) is not all(b.fits for b in budgets(settings))


def test_a_balance_within_its_measuring_error_is_refused_with_the_least_that_is_accepted(
    hut_settings: SupervisorSettings, document: Document
) -> None:
    """Two cells of 8.2117 mV each, and the drop's part: 11.61 mV."""
    (fault,) = unfit(hut_settings, document, protection__balance__trip_volts=0.011)
    assert fault.path == BALANCE
    assert fault.line == document.line(BALANCE)
    assert "0.011 V is not above the guard band of balance, 0.0116 V" in fault.problem
    assert f"Write {BALANCE}: 0.012 at least" in fault.remedy
    assert unfit(hut_settings, document, protection__balance__trip_volts=0.012) == []


def test_too_high_and_too_fine_are_told_together(
    hut_settings: SupervisorSettings, document: Document
) -> None:
    faults = unfit(
        hut_settings,
        document,
        protection__overvoltage__trip_volts=3.8,
        protection__balance__trip_volts=0.005,
    )
    assert [fault.path for fault in faults] == [OVERVOLTAGE, BALANCE]


def test_contradictions_and_response_are_told_together(tmp_path: Path, hut_path: Path) -> None:
    file = written(
        tmp_path / "bank.yaml",
        hut_path,
        ("trip_volts: 3.60", "trip_volts: 3.80"),
        ("trip_amperes: 130", "trip_amperes: 190"),
    )
    with pytest.raises(SettingsFaults) as refused:
        load_fit(file)
    paths = {fault.path for fault in refused.value.faults}
    assert {OVERVOLTAGE, "protection.overcurrent.trip_amperes"} <= paths
    assert any("at most" in fault.remedy for fault in refused.value.faults)


def test_a_channel_on_an_unknown_converter_is_a_fault_and_no_crash(
    tmp_path: Path, hut_path: Path
) -> None:
    file = written(tmp_path / "bank.yaml", hut_path, ("converter: current", "converter: curent"))
    examined = examine(file)
    assert any(fault.path == "channels.shunt.converter" for fault in examined.faults)
    assert examined.budgets == ()


def test_a_file_that_cannot_be_read_has_faults_and_no_settings(tmp_path: Path) -> None:
    examined = examine(tmp_path / "missing.yaml")
    assert examined.settings is None
    assert examined.budgets == ()
    assert len(examined.faults) == 1
