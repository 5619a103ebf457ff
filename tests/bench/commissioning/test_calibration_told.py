"""A calibration tells what is wrong by one finding, and writes nothing that widens a guard band."""

from pathlib import Path

import pytest
from commissioned import behind, told, walk

from supervisor.bench.commissioning import hands
from supervisor.bench.commissioning.defects import DEFECTS, SOUND, Defect
from supervisor.commissioning.walk import Walk
from supervisor.control.build_steps import BY_KEY
from supervisor.measurement.calibration import calibration
from supervisor.measurement.meter import Meter, stated
from supervisor.settings.model import SupervisorSettings


def calibrated(
    settings: SupervisorSettings,
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    key: str,
    meter: Meter | None = None,
    defect: Defect = SOUND,
) -> Walk:
    if meter:
        monkeypatch.setitem(hands.METERS, "amperes" if key == "current" else "volts", meter)
    one = behind(walk(settings, folder, defect), key)
    one.go([BY_KEY[key]])
    return one


@pytest.mark.parametrize(
    ("name", "key", "named"),
    [
        ("leads-swapped", "front_cell", "swapped leads"),
        ("leads-swapped", "far_cell", "swapped leads"),
        ("lead-reversed", "far_cell", "reversed lead"),
        ("shunt-reversed", "current", "reversed lead"),
    ],
)
def test_leads_at_the_wrong_place_are_one_finding_with_its_name(
    hut_settings: SupervisorSettings,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    key: str,
    named: str,
) -> None:
    one = calibrated(hut_settings, tmp_path, monkeypatch, key, defect=DEFECTS[name])
    (finding,) = one.done[-1].findings
    assert finding.defect == named
    assert finding.remedy
    assert not one.done[-1].passed


def test_a_channel_that_shows_the_same_whatever_is_put_on_it(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hands.SimulatedHands, "_put", lambda *_: None)
    monkeypatch.setattr(hands.SimulatedHands, "reads", lambda _hands, _asked: next(shown))
    shown = iter([2.5, 3.3, 3.6])
    one = calibrated(hut_settings, tmp_path, monkeypatch, "front_cell")
    (finding,) = one.done[-1].findings
    assert finding.defect == "it does not follow its leads"


@pytest.mark.parametrize("statement", ["5 % + 10", "7 % + 3", "4 % + 30", "4.6 % + 5"])
@pytest.mark.parametrize("key", ["current", "front_cell"])
def test_a_reference_that_is_no_good_is_one_finding_that_says_so(
    hut_settings: SupervisorSettings,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    statement: str,
    key: str,
) -> None:
    meter = stated(statement, 0.1 if key == "current" else 0.01, "A" if key == "current" else "V")
    one = calibrated(hut_settings, tmp_path, monkeypatch, key, meter)
    (finding,) = one.done[-1].findings
    assert "not good enough for this" in finding.defect
    assert "1 % or better" in finding.remedy


@pytest.mark.parametrize("statement", ["0.5 % + 3", "1 % + 2", "2 % + 5"])
def test_a_clamp_that_is_no_surer_than_the_plate_writes_nothing(
    hut_settings: SupervisorSettings,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    statement: str,
) -> None:
    one = calibrated(hut_settings, tmp_path, monkeypatch, "current", stated(statement, 0.1, "A"))
    (done,) = [done for done in one.done if done.step == "current"]
    assert done.passed, told(one.done)
    assert not done.as_left
    assert one.settings == hut_settings
    assert any("nothing is written" in note for note in done.notes)


def test_a_reference_that_is_surer_is_written_and_the_guard_band_gets_narrower(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fine = stated("0.02 % + 1", 0.001, "A")
    one = calibrated(hut_settings, tmp_path, monkeypatch, "current", fine)
    assert one.done[-1].passed, told(one.done)
    left, found = (calibration(s.channels.shunt) for s in (one.settings, hut_settings))
    assert one.settings.channels.shunt.gain_uncertainty_percent is not None
    assert left.budget.expanded(130.0) < found.budget.expanded(130.0)


def test_a_shunt_that_is_off_is_written_by_any_clamp_that_can_tell(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    off = Defect("", "", "", really={"channels.shunt.gain": 1.015})
    one = calibrated(
        hut_settings, tmp_path, monkeypatch, "current", stated("0.5 % + 3", 0.1, "A"), off
    )
    assert one.done[-1].passed, told(one.done)
    assert one.settings.channels.shunt.gain == pytest.approx(1.015, abs=0.008)


def test_a_cell_is_calibrated_whatever_the_meter_because_no_plate_speaks_of_its_resistors(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    meter = stated("0.16 % + 3", 0.0001, "V")
    one = calibrated(hut_settings, tmp_path, monkeypatch, "front_cell", meter)
    assert one.settings.channels.front_cell.gain_uncertainty_percent is not None
