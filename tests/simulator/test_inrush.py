"""The mains relay: inrush by angle and remanence, and the weld it can cause."""

import math

import pytest

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.contactors import build_mains_relay
from supervisor.simulator.inrush import Inrush, MainsRelay
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.switches import SwitchSettings

HERTZ, OHM, HENRY = 50.0, 0.8, 0.008
FULL_A = 230 * math.sqrt(2) / math.hypot(OHM, 2 * math.pi * HERTZ * HENRY)


def inrush(remanence: float = 0.6, knee: float = 1.3) -> Inrush:
    return Inrush(
        volts=230, hertz=HERTZ, ohm=OHM, henry=HENRY, remanence=remanence, knee=knee
    )  # fmt: skip


# Flux by hand: a sine closed at its zero doubles it, at its peak leaves it as usual.
@pytest.mark.parametrize(
    ("angle_deg", "remanence", "flux"),
    [(0, 0.0, 2.0), (0, 0.6, 2.6), (180, 0.6, 1.4), (180, 0.0, 2.0), (60, 0.0, 1.5), (90, 0.6, 1.6),
     (180, -0.6, 2.6)],
)  # fmt: skip
def test_peak_by_angle_and_remanence(angle_deg: float, remanence: float, flux: float) -> None:
    peak_a = inrush(remanence).peak_a(math.radians(angle_deg))
    assert peak_a == pytest.approx(FULL_A * (flux - 1.3), rel=1e-9)


def test_closed_at_the_voltages_peak_nothing_saturates() -> None:
    assert inrush(remanence=0.0).peak_a(math.pi / 2) == 0


def test_the_flux_is_the_integral_of_the_voltage() -> None:
    """In units of its usual peak, summed over one cycle from every angle."""
    steps = 20_000
    for degrees in range(0, 360, 15):
        start = math.radians(degrees)
        flux = highest = lowest = 0.6
        for k in range(steps):
            flux += math.sin(start + (k + 0.5) * 2 * math.pi / steps) * 2 * math.pi / steps
            highest, lowest = max(highest, flux), min(lowest, flux)
        expected_a = FULL_A * max(max(highest, -lowest) - 1.3, 0.0)
        assert inrush().peak_a(start) == pytest.approx(expected_a, abs=1e-4)


def test_it_decays_from_cycle_to_cycle() -> None:
    one = inrush()
    assert one.peak_a(0.0, 3) / one.peak_a(0.0, 2) == pytest.approx(
        math.exp(-OHM / (HERTZ * HENRY))
    )


def closed_at(at_s: float, making_a: float) -> MainsRelay:
    relay = MainsRelay(0.015, 0.010, inrush(), making_a)
    relay.input_changes(True, at_s - 0.015)
    while relay.due_s <= at_s + 1e-9:
        relay.move()
    assert relay.closed
    return relay


def test_the_relay_notes_the_angle_it_closed_at() -> None:
    assert closed_at(1.0, 1e6).last_inrush_a == pytest.approx(FULL_A * 1.3, rel=1e-6)
    assert closed_at(1.005, 1e6).last_inrush_a == pytest.approx(FULL_A * 0.3, rel=1e-6)


@pytest.mark.parametrize(("making_a", "welds"), [(0.5, True), (1.001, False), (0.999, True)])
def test_making_onto_too_much_welds(making_a: float, welds: bool) -> None:
    relay = closed_at(1.0, making_a * FULL_A * 1.3)
    relay.input_changes(False, 2.0)
    while relay.due_s <= 3.0:
        relay.move()
    assert relay.closed is relay.welded is welds


def test_the_usual_relay_makes_at_the_worst_angle(hut_settings: SupervisorSettings) -> None:
    relay = build_mains_relay(hut_settings, PlantSettings())
    assert relay is not None
    assert max(relay._inrush.peak_a(k / 100) for k in range(629)) < relay.making_a / 2


def test_no_mains_contactor_no_relay(hut_settings: SupervisorSettings) -> None:
    without = hut_settings.model_copy(update={"mains_contactor": None})
    assert build_mains_relay(without, PlantSettings()) is None


def test_the_rating_comes_from_the_plants_settings(hut_settings: SupervisorSettings) -> None:
    plant = PlantSettings(switches=SwitchSettings(mains_making_amperes=7.0))
    relay = build_mains_relay(hut_settings, plant)
    assert relay is not None
    assert relay.making_a == 7.0
