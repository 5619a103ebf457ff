"""The shunt's own heat, and what all sensing together may be wrong by."""

import math

import pytest
from still_plant import StillPlant

from supervisor.measurement.uncertainty import cell_budget, current_budget
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.sensing import ShuntSettings
from supervisor.simulator.plant import Plant
from supervisor.simulator.rig import Rig
from supervisor.simulator.shunt import Shunt

OHM = 250e-6  # 50 mV at 200 A


def shunt(amperes: float) -> tuple[StillPlant, Shunt]:
    settings = ShuntSettings(ppm_per_kelvin=15, kelvin_per_watt=4, time_constant_seconds=120)
    plant = StillPlant(ripple=0.5)
    made = Shunt(settings, plant, ohm=OHM, start_s=0.0)  # type: ignore[arg-type]
    plant.current_a = amperes
    return plant, made


# 50 mV / 200 A is 10 W at 200 A (by the plate), so 40 K at 4 K/W.
def test_it_gets_as_warm_as_its_losses_make_it() -> None:
    _, one = shunt(200.0)
    one.settle(120.0)
    assert one.above_ambient_k == pytest.approx(40 * (1 - math.exp(-1)), rel=1e-12)
    one.settle(1e5)
    assert one.above_ambient_k == pytest.approx(40.0, rel=1e-9)


def test_it_shows_more_when_warm_and_cools_again() -> None:
    plant, one = shunt(200.0)
    assert one.shown_a() == (200.0, 50.0)
    plant.change(1e5, lambda: setattr(plant, "current_a", 0.0))
    plant.change(1e5 + 120, lambda: setattr(plant, "current_a", -100.0))
    assert one.above_ambient_k == pytest.approx(40 * math.exp(-1), rel=1e-9)
    mean_a, ripple_a = one.shown_a()
    factor = 1 + 15e-6 * 40 * math.exp(-1)
    assert mean_a == pytest.approx(-100 * factor, rel=1e-12)
    assert ripple_a == pytest.approx(50 * factor, rel=1e-12)


def test_many_short_steps_are_one_long_one() -> None:
    _, one = shunt(130.0)
    _, other = shunt(130.0)
    for k in range(1, 1001):
        one.settle(k * 0.3)
    other.settle(300.0)
    assert one.above_ambient_k == pytest.approx(other.above_ambient_k, rel=1e-9)


def test_drift_is_relative() -> None:
    _, one = shunt(100.0)
    one.drift = -0.02
    assert one.shown_a()[0] == pytest.approx(98.0)


@pytest.fixture
def rig(hut_settings: SupervisorSettings) -> Rig:
    return Rig(hut_settings, PlantSettings(), SimulatedClock(), seed=1)


@pytest.mark.parametrize("cell_v", [2.5, 3.0, 3.35, 3.6, 3.65])
@pytest.mark.parametrize("name", ["front_cell", "far_cell"])
def test_the_usual_cell_leads_are_inside_the_budget(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, name: str, cell_v: float
) -> None:
    channel = getattr(rig.settings.channels, name)
    monkeypatch.setattr(rig.plant, "cell_v", lambda _cell: cell_v)
    lead = rig.lead_of(name)
    lead.settle(100.0)
    read_v = lead._mean_v * channel.gain + channel.offset_volts
    assert 0 < abs(read_v - cell_v) < cell_budget(channel).expanded(cell_v) / 4


@pytest.mark.parametrize("amperes", [-20.0, 0.0, 1.0, 20.0, 65.0, 130.0])
def test_the_usual_shunt_is_inside_the_budget(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, amperes: float
) -> None:
    channel = rig.settings.channels.shunt
    monkeypatch.setattr(Plant, "current_a", amperes)
    rig.shunt.settle(1e5)
    lead = rig.lead_of("shunt")
    lead.settle(1e5)
    read_a = lead._mean_v / channel.ohms * channel.gain + channel.offset_amperes
    assert 0 < abs(read_a - amperes) < current_budget(channel).expanded(amperes) / 4
