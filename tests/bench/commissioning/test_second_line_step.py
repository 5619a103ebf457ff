"""The second line's own trip is driven, by wire alone; what is wrong with it is found by name."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from commissioned import behind, told, walk
from second_lines import with_second_line

from supervisor.bench.commissioning.defects import Defect, strikes
from supervisor.commissioning.certificate import certificate
from supervisor.control.build_steps import BY_KEY, needed
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.world import World


def cut_off(world: World) -> None:
    """The wire from ALERT ends at the pin: nothing holds the coil off."""
    world.plant.enable_contactor = lambda *_: None  # type: ignore[method-assign]


@pytest.fixture
def settings(hut_settings: SupervisorSettings) -> SupervisorSettings:
    return with_second_line(hut_settings)


def found(settings: SupervisorSettings, folder: Path, defect: Defect) -> set[str]:
    one = behind(walk(settings, folder, defect), "trip_second_line")
    assert not one.go([BY_KEY["trip_second_line"]])
    return {finding.defect for done in one.done for finding in done.findings} - {""}


def test_a_sound_one_trips_where_it_should(settings: SupervisorSettings, tmp_path: Path) -> None:
    one = behind(walk(settings, tmp_path), "trip_second_line")
    assert one.go([BY_KEY["trip_second_line"]]), told(one.done)
    where, holds = one.done[-1].findings
    assert where.measured == pytest.approx(3.64, abs=0.012)
    assert holds.words == "open"
    front = one._leaves.world.leads  # type: ignore[attr-defined]
    assert all(lead.source is None for lead in front.values())  # put back


@pytest.mark.parametrize(
    ("struck", "named"),
    [
        (cut_off, "ALERT does not hold the coil off"),
        (strikes(kind="alert_wire_open"), "does not trip"),
        (strikes(kind="chip_absent", converter="guard"), "it cannot be told"),
        (strikes(kind="contactor_welded"), "ALERT does not hold the coil off"),
    ],
)
def test_what_is_wrong_is_found_by_name(
    settings: SupervisorSettings, tmp_path: Path, struck: Callable[[World], None], named: str
) -> None:
    assert named in found(settings, tmp_path, Defect("", "", "", struck=struck))


@pytest.mark.parametrize("gain", [0.99, 1.01])
def test_a_gain_that_is_off_is_found(
    settings: SupervisorSettings, tmp_path: Path, gain: float
) -> None:
    defect = Defect("", "", "", really={"second_line.gain": gain})
    named = "trips at another value" if gain < 1 else "does not trip"
    assert named in found(settings, tmp_path, defect)


def test_it_is_needed_where_one_is_fitted_and_is_untried_no_more(
    settings: SupervisorSettings, hut_settings: SupervisorSettings
) -> None:
    assert "trip_second_line" in {step.key for step in needed(settings)}
    assert "trip_second_line" not in {step.key for step in needed(hut_settings)}
    now = datetime(2026, 12, 1, tzinfo=UTC)
    page = certificate(settings, (), settings_text=b"", simulated=True, now=now)
    assert "second_line" not in page["by_simulation_only"]
