"""The second line on the simulated board: ALERT drops the coil, at its time, whoever looks when."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as settings_of_hypothesis
from hypothesis import strategies as st
from second_lines import GUARD, RELEASE_V, TRIP_V, with_second_line

from supervisor.devices.comparator import Comparator, Register
from supervisor.devices.contactor import Contactor
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.faults_electronic import ChipReset
from supervisor.simulator.faults_second_line import AlertWireOpen, SecondLineElsewhere
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.switch import NEVER, Switch
from supervisor.simulator.world import World

CONVERSION_S = 1 / 860
RELEASE_S = 0.012
WIRE_OPEN = AlertWireOpen(kind="alert_wire_open")


def level(settings: SupervisorSettings) -> SupervisorSettings:
    contactor = settings.contactor.model_copy(
        update={"drive": "level", "dropout_milliseconds": None}
    )
    return settings.model_copy(update={"contactor": contactor})


class Bench:
    """A closed contactor with nobody behind it, and a comparator that was told its limits."""

    def __init__(self, settings: SupervisorSettings, **plant: Any) -> None:
        self.settings = with_second_line(settings)
        self.clock = SimulatedClock()
        plant.setdefault("supply", {"knob": 1.0, "capacitor_farads": 50})
        plant.setdefault("converters", {"noise_factor": 0, "filter_hertz": 1e5})
        self.world = World(self.settings, PlantSettings.model_validate(plant), self.clock)
        self.contactor = Contactor(self.settings, self.world.pin_factory, self.clock)
        line = self.settings.second_line
        assert line is not None
        self.pin = self.world.pin_factory.pin(line.pin)
        self.pin.pull = "up"
        bus, chip = self.world.open_bus(), Comparator(line, self.settings.converters[GUARD])
        limits = chip.thresholds(RELEASE_V, TRIP_V)
        chip.write(bus, Register.LOW, limits.low)
        chip.write(bus, Register.HIGH, limits.high)
        chip.configure(bus)
        self.contactor.close_for(1000.0)
        self.wait(0.1)
        assert self.closed

    @property
    def closed(self) -> bool:
        return self.world.plant.contactor_closed

    def wait(self, seconds: float) -> None:
        self.clock.sleep_until(self.clock.now_s() + seconds)
        self.world.catch_up()

    def sense(self, volts: float | None) -> None:
        wiring = self.world.second_line
        assert wiring is not None
        self.world.change(lambda: setattr(wiring, "elsewhere_v", volts))


@pytest.fixture
def bench(hut_settings: SupervisorSettings) -> Bench:
    return Bench(level(hut_settings))


def test_above_the_limit_the_coil_is_off_whatever_its_pin_says(bench: Bench) -> None:
    bench.sense(TRIP_V + 0.001)
    began_s = bench.clock.now_s()
    bench.wait(1.0)
    assert not bench.closed
    assert bench.contactor.state().told_to_close
    assert bench.world.pin_factory.pin(17).state
    stopped_s = bench.world.plant.stopped_at_s
    assert stopped_s is not None
    # two conversions that sampled it, in their middle, to their end; then the contactor's release
    assert 1.5 * CONVERSION_S < stopped_s - began_s - RELEASE_S < 2.6 * CONVERSION_S


def test_at_the_limit_and_in_between_nothing_happens(bench: Bench) -> None:
    for volts in (TRIP_V - 0.0002, RELEASE_V - 0.1, RELEASE_V + 0.1):
        bench.sense(volts)
        bench.wait(1.0)
        assert bench.closed
        assert bench.pin.state


def test_the_pin_shows_the_line(bench: Bench) -> None:
    assert bench.pin.state
    bench.sense(TRIP_V + 0.01)
    bench.wait(0.1)
    assert not bench.pin.state


def test_it_lets_go_below_release_only_and_a_level_drive_closes_again(bench: Bench) -> None:
    """Why a level drive wants a latch outside the chip: hardware/README.md."""
    bench.sense(TRIP_V + 0.01)
    bench.wait(0.1)
    bench.sense(RELEASE_V + 0.001)
    bench.wait(10.0)
    assert not bench.closed
    bench.sense(RELEASE_V - 0.001)
    bench.wait(0.1)
    assert bench.closed
    assert bench.pin.state


def test_a_pulse_drive_has_let_go_meanwhile_and_stays_open(
    hut_settings: SupervisorSettings,
) -> None:
    bench = Bench(hut_settings)
    bench.sense(TRIP_V + 0.01)
    bench.wait(1.0)
    bench.sense(RELEASE_V - 0.01)
    bench.wait(1.0)
    assert bench.pin.state
    assert not bench.closed


def test_a_pulse_drive_that_is_fed_is_gated_too(hut_settings: SupervisorSettings) -> None:
    bench = Bench(hut_settings)
    bench.sense(TRIP_V + 0.01)
    for _ in range(50):
        bench.wait(0.014)
        bench.contactor.renew(1000.0)
    assert not bench.closed


def test_a_broken_wire_reaches_neither_coil_nor_pin_and_a_mended_one_does(bench: Bench) -> None:
    bench.world.fault(WIRE_OPEN)
    bench.sense(TRIP_V + 0.01)
    bench.wait(1.0)
    assert bench.closed
    assert bench.pin.state
    bench.world.clear("alert_wire_open")
    bench.wait(RELEASE_S + 0.001)
    assert not bench.closed
    assert not bench.pin.state


def test_a_wire_that_breaks_during_an_alert_lets_the_coil_go(bench: Bench) -> None:
    bench.sense(TRIP_V + 0.01)
    bench.wait(0.1)
    bench.world.fault(WIRE_OPEN)
    bench.wait(0.1)
    assert bench.closed


def test_a_reset_chip_compares_nothing(bench: Bench) -> None:
    bench.sense(TRIP_V + 0.01)
    bench.wait(0.1)
    assert not bench.closed
    bench.world.fault(ChipReset(kind="chip_reset", converter=GUARD))
    bench.wait(1.0)
    assert bench.closed


def test_its_lead_may_sit_elsewhere(bench: Bench) -> None:
    bench.world.fault(SecondLineElsewhere(kind="second_line_elsewhere", volts=3.7))
    bench.wait(0.1)
    assert not bench.closed
    bench.world.clear("second_line_elsewhere")
    bench.wait(0.1)
    assert bench.closed


def test_its_faults_need_a_second_line(hut_settings: SupervisorSettings) -> None:
    world = World(hut_settings, PlantSettings(), SimulatedClock())
    for fault in (WIRE_OPEN, SecondLineElsewhere(kind="second_line_elsewhere", volts=0.0)):
        with pytest.raises(ValueError, match="no second_line"):
            world.fault(fault)


def test_it_follows_the_front_cell_through_its_divider(hut_settings: SupervisorSettings) -> None:
    settings = with_second_line(hut_settings, gain=2.0, range_volts=2.048)
    ideal = {"converters": {"leads": {"ohms": 0, "common_mode_volts": 0}}}
    world = World(settings, PlantSettings.model_validate(ideal), SimulatedClock())
    wiring = world.second_line
    assert wiring is not None
    assert wiring.lead.volts(0.01, 0.001) * 2.0 == pytest.approx(world.plant.cell_v(0), abs=1e-6)


# A small bank near full, and a supply above it: 3.64 V is passed within some seconds.
SMALL = {"cells_in_parallel": 4, "cell_ampere_hours": 20}
RUNAWAY = {
    "cells": {"state_of_charge": 0.9995},
    "supply": {"knob": 0.78, "capacitor_farads": 20},
    "converters": {},
}


def opening(settings: SupervisorSettings, steps_s: list[float]) -> tuple[float | None, float]:
    """When the current ceased, and the highest cell voltage; looked at after each of these."""
    bank = settings.bank.model_copy(update=SMALL)
    bench = Bench(level(settings.model_copy(update={"bank": bank})), **RUNAWAY)
    for step_s in steps_s:
        bench.wait(step_s)
    bench.wait(max(0.0, 8.0 - bench.clock.now_s()))
    return bench.world.plant.stopped_at_s, bench.world.plant.peak_cell_v


@pytest.fixture(scope="module")
def looked_at_often(hut_settings: SupervisorSettings) -> tuple[float | None, float]:
    return opening(hut_settings, [0.01] * 700)


def test_a_runaway_ends_just_above_the_limit(
    looked_at_often: tuple[float | None, float],
) -> None:
    stopped_s, peak_v = looked_at_often
    assert stopped_s is not None
    assert 2.0 < stopped_s < 6.0
    assert TRIP_V < peak_v < TRIP_V + 0.002


@given(steps_s=st.lists(st.floats(1e-4, 2.0), max_size=10))
@settings_of_hypothesis(max_examples=15)
def test_the_coil_drops_at_the_same_time_however_seldom_anybody_looks(
    hut_settings: SupervisorSettings,
    looked_at_often: tuple[float | None, float],
    steps_s: list[float],
) -> None:
    """To the bit: looking may not move what the hardware does by itself."""
    assert opening(hut_settings, steps_s) == looked_at_often


# --- the gate in the switch


def until(switch: Switch, at_s: float) -> bool:
    while switch.due_s <= at_s:
        switch.move()
    return switch.closed


def test_a_coil_needs_driver_and_enable() -> None:
    switch = Switch(pull_in_s=0.025, release_s=0.012)
    switch.enable(False, 0.0)
    switch.input_changes(True, 1.0)
    assert not until(switch, 2.0)
    switch.enable(True, 3.0)
    assert [until(switch, at_s) for at_s in (3.024, 3.025)] == [False, True]
    switch.enable(False, 4.0)
    assert [until(switch, at_s) for at_s in (4.0119, 4.012)] == [True, False]
    switch.input_changes(False, 5.0)
    switch.enable(True, 6.0)
    assert not until(switch, 7.0)
    assert switch.due_s == NEVER


def test_the_drop_out_runs_on_behind_a_closed_gate() -> None:
    switch = Switch(pull_in_s=0.025, release_s=0.012, dropout_s=0.25)
    switch.input_changes(True, 0.0)
    switch.enable(False, 0.1)
    assert not until(switch, 0.2)
    switch.enable(True, 0.2)
    assert until(switch, 0.226)
    assert not until(switch, 0.25 + 0.0121)
    switch.enable(False, 0.3)
    switch.enable(True, 0.4)
    assert not until(switch, 1.0)
