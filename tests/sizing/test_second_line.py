"""The second line's budget: no software in it, and a file in which it acts too late is refused."""

from math import sqrt
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from second_lines import TRIP_V, with_second_line

from supervisor.settings.document import Document
from supervisor.settings.load import read_document
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.fitness import examine_document, unfit_settings, with_value
from supervisor.sizing.response import budgets
from supervisor.sizing.steps import Stage

RELEASE_S = 0.030  # of the example's contactor


def budget(settings: SupervisorSettings) -> RuleBudget:
    (found,) = (b for b in budgets(settings) if b.rule == "second_line")
    return found


@pytest.fixture(scope="module")
def document(hut_path: Path) -> Document:
    return read_document(hut_path)


def test_none_without_a_second_line(hut_settings: SupervisorSettings) -> None:
    assert "second_line" not in {b.rule for b in budgets(hut_settings)}


@pytest.mark.parametrize(
    ("samples_per_second", "response_s"), [(860, 0.0340116), (475, 0.0372632), (250, 0.0438)]
)
@pytest.mark.parametrize("drive", ["pulse", "level"])
def test_response(
    hut_settings: SupervisorSettings, samples_per_second: int, response_s: float, drive: str
) -> None:
    """Three conversions of a chip whose clock is 15 % slow, and 30 ms of the contactor: by hand.

    Neither the lease nor a pulse driver's drop-out of 250 ms, nor the loop's period.
    """
    contactor = hut_settings.contactor.model_copy(update={"drive": drive})
    settings = hut_settings.model_copy(update={"contactor": contactor})
    found = budget(with_second_line(settings, samples_per_second=samples_per_second))
    assert found.response_s == pytest.approx(response_s, abs=1e-6)
    assert found.stage_s(Stage.LATE) == found.stage_s(Stage.DELAY) == 0
    assert found.stage_s(Stage.OPEN) == RELEASE_S


def test_guard_band_is_that_of_its_own_converter(hut_settings: SupervisorSettings) -> None:
    """ADS1115 data sheet, by hand: gain 0.15 %, channels 0.1 %, drift 40 ppm/K over 20 K, offset
    3 codes, nonlinearity 1, all rectangular; half a code of rounding. k = 2 (GUM)."""
    relative = (0.0015**2 + 0.001**2 + 0.0008**2) / 3 * TRIP_V**2
    fixed = (9 + 1) / 3 * 125e-6**2 + 125e-6**2 / 12
    settings = with_second_line(hut_settings)
    calibrated = settings.channels.front_cell.model_copy(update={"gain_uncertainty_percent": 0.02})
    channels = settings.channels.model_copy(update={"front_cell": calibrated})
    for same in (settings, settings.model_copy(update={"channels": channels})):
        assert budget(same).guard_band == pytest.approx(2 * sqrt(relative + fixed), rel=1e-9)


def test_what_it_promises(hut_settings: SupervisorSettings) -> None:
    found = budget(with_second_line(hut_settings))
    assert (found.rule, found.title) == ("second_line", "second_line")
    assert found.limit_key == "second_line.trip_volts"
    assert (found.limit, found.unit, found.upper) == (TRIP_V, "V", True)
    assert found.guard_band is not None
    assert found.starts_at_v == TRIP_V + found.guard_band
    assert found.highest_v == pytest.approx(found.starts_at_v + 0.02 * found.response_s)
    assert found.fits


@given(slow_s=st.floats(0, 1), wait=st.floats(0, 1, exclude_max=True), clock=st.floats(-0.10, 0.10))
def test_the_response_bounds_a_small_model_of_it(
    hut_settings: SupervisorSettings, slow_s: float, wait: float, clock: float
) -> None:
    """Conversions follow each other; the fault begins anywhere in one; two in a row count that
    sampled it in full; then the contactor takes what it takes."""
    release_ms = 5 + 50 * slow_s
    contactor = hut_settings.contactor.model_copy(update={"release_milliseconds": release_ms})
    settings = with_second_line(hut_settings.model_copy(update={"contactor": contactor}))
    period_s = (1 + clock) / 860
    first_whole_s = (1 - wait) * period_s
    assert first_whole_s + 2 * period_s + release_ms / 1000 <= budget(settings).response_s


@pytest.mark.parametrize("trip_v", [3.642, 3.643, 3.645, 3.6499])
def test_one_that_acts_too_late_is_refused_with_what_fits(
    hut_settings: SupervisorSettings, document: Document, trip_v: float
) -> None:
    settings = with_second_line(hut_settings)
    assert unfit_settings(settings, document) == []
    (fault,) = unfit_settings(with_value(settings, "second_line.trip_volts", trip_v), document)
    assert fault.path == "second_line.trip_volts"
    assert "before second_line has anything to act on" in fault.why
    assert "Write second_line.trip_volts: 3.641 at most" in fault.remedy
    named = with_value(settings, "second_line.trip_volts", 3.641)
    assert unfit_settings(named, document) == []


def test_a_slow_contactor_is_too_late_for_it_as_well(
    hut_settings: SupervisorSettings, document: Document
) -> None:
    fast = with_value(
        with_second_line(hut_settings, trip_volts=3.631), "bank.fastest_rise_volts_per_second", 0.5
    )
    paths = [fault.path for fault in unfit_settings(fast, document)]
    assert "second_line.trip_volts" in paths


def overridden(document: Document, **line: Any) -> Document:
    block = {
        "converter": "guard", "inputs": "0-1", "trip_volts": 3.64, "release_volts": 3.4, "pin": 26,
    }  # fmt: skip
    overrides = {"converters.guard": {"address": 0x4A}, "second_line": block | line}
    return document.with_overrides(overrides, file="hut.yaml", lines={})


def test_a_file_with_one_is_examined(document: Document) -> None:
    examined = examine_document(overridden(document))
    assert examined.faults == ()
    assert "second_line" in {found.rule for found in examined.budgets}


def test_a_file_that_names_no_converter_for_it_is_told_so(document: Document) -> None:
    examined = examine_document(overridden(document, converter="nowhere"))
    assert "second_line.converter" in {fault.path for fault in examined.faults}
    assert examined.budgets == ()
