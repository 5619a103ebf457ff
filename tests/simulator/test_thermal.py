"""Warm parts, their probes and chips, and what goes wrong with them."""

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from probes import CELL, IRON, SERIAL, SINK, with_probes
from pydantic import TypeAdapter, ValidationError
from scipy.integrate import solve_ivp

from supervisor.devices.one_wire import celsius_of_file
from supervisor.devices.protocols import OneWireAnswer
from supervisor.readings import Place, Quality
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.faults import Fault
from supervisor.simulator.lm75 import LM75Chip
from supervisor.simulator.one_wire import crc8, w1_slave
from supervisor.simulator.output import Output
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.source import Source
from supervisor.simulator.world import World

PROBES = {"sink": SINK, "iron": IRON, "cell": CELL}


def fault(kind: str, **fields: object) -> Any:
    return TypeAdapter(Fault).validate_python({"kind": kind, **fields})


class Bench:
    """A world with probes, at 18 degrees, whose current is what the test says."""

    def __init__(self, settings: SupervisorSettings, **thermal: object) -> None:
        self.clock = SimulatedClock()
        plant = PlantSettings.model_validate({"thermal": thermal})
        self.world = World(with_probes(settings, PROBES), plant, self.clock)
        self.bus = self.world.open_bus()

    def flow(self, amperes: float) -> None:
        """In bank and windings, with 1 V over the diodes."""
        self.give(Output(amperes, winding_rms_a=amperes, rectifier_w=amperes))

    def give(self, output: Output) -> None:
        """From now on; the circuit is not solved anew before the test wants it."""
        self.world.catch_up()
        self.world.heat.settle(self.clock.now_s())
        self.world.plant.output = output
        self.world.plant._next_s = math.inf

    def wait(self, seconds: float) -> None:
        self.clock.sleep_until(self.clock.now_s() + seconds)

    def true_c(self, place: Place) -> float:
        return self.world.heat.celsius(place, self.clock.now_s())

    def register(self, pointer: int, address: int = 0x4C, length: int = 2) -> int:
        answer = bytearray(length)
        self.bus.writeto_then_readfrom(address, bytes([pointer]), answer)
        return int.from_bytes(answer, "big")

    def one_wire_c(self) -> tuple[float | None, Quality]:
        self.wait(1.0)
        answer = self.world.one_wire.newest(SERIAL)
        assert answer is not None
        return celsius_of_file(answer.text)


@pytest.fixture
def bench(hut_settings: SupervisorSettings) -> Bench:
    return Bench(hut_settings)


# -- heat


def test_without_current_everything_is_at_ambient(hut_settings: SupervisorSettings) -> None:
    bench = Bench(hut_settings, ambient_celsius=-7.5)
    bench.wait(5000)
    assert [bench.true_c(place) for place in Place] == [-7.5, -7.5, -7.5]


# What each place comes to in the end, of 1 W an ampere in the diodes and 4 mOhm in each winding.
SHARES = [
    (Place.HEAT_SINK, lambda amperes: 0.29 * amperes, 300),
    (Place.TRANSFORMER, lambda amperes: 0.36 * 2 * 0.004 * amperes**2, 2400),
    (Place.CELLS, lambda amperes: 3 * (amperes / 100) ** 2, 7200),
]


@pytest.mark.parametrize(("place", "final_k", "tau_s"), SHARES)
@pytest.mark.parametrize("amperes", [50.0, 100.0, 130.0])
def test_what_is_lost_warms_first_order(
    bench: Bench, place: Place, final_k: Callable[[float], float], tau_s: float, amperes: float
) -> None:
    """63.2 % of the way after one time constant, 1 - 1/e; and all of it in the end."""
    bench.flow(amperes)
    bench.wait(tau_s)
    assert bench.true_c(place) - 18 == pytest.approx(final_k(amperes) * 0.6321205588)
    bench.wait(30 * tau_s)
    assert bench.true_c(place) - 18 == pytest.approx(final_k(amperes))


def test_cooling_to_half_takes_ln_2_time_constants(bench: Bench) -> None:
    bench.flow(100.0)
    bench.wait(1e5)
    bench.flow(0.0)
    bench.wait(300 * math.log(2))
    assert bench.true_c(Place.HEAT_SINK) - 18 == pytest.approx(14.5)


# IEC 60255-149, tau 600 s, currents in multiples of the one that leads to 1 K here: the time from
# cold, and after a long load at 0.5 and at 0.9, until the winding is 1 K above ambient.
@pytest.mark.parametrize(
    ("current", "before", "expected_s"),
    [
        (1.1, 0.0, 1050.76), (1.1, 0.5, 911.90), (1.1, 0.9, 386.61),
        (1.5, 0.0, 352.67), (1.5, 0.5, 282.00), (1.5, 0.9, 84.90),
        (2.0, 0.0, 172.61), (2.0, 0.5, 133.89), (2.0, 0.9, 36.85),
        (6.0, 0.0, 16.90), (6.0, 0.5, 12.72), (6.0, 0.9, 3.25),
    ],
)  # fmt: skip
def test_a_winding_warms_as_the_overload_curves_assume(
    hut_settings: SupervisorSettings, current: float, before: float, expected_s: float
) -> None:
    a_kelvin_at_100_a = {"kelvin_per_watt": 1 / (2 * 0.004 * 100**2), "time_constant_seconds": 600}
    bench = Bench(hut_settings, transformer=a_kelvin_at_100_a)
    bench.flow(100 * before)
    bench.wait(40 * 600)
    bench.flow(100 * current)
    bench.wait(expected_s)
    k_per_s = (current**2 - 1) / 600
    assert bench.true_c(Place.TRANSFORMER) - 18 == pytest.approx(1.0, abs=0.01 * k_per_s)


@given(st.lists(st.tuples(st.floats(0, 200), st.floats(1, 900)), min_size=1, max_size=5))
def test_like_the_differential_equation(
    hut_settings: SupervisorSettings, course: list[tuple[float, float]]
) -> None:
    """SciPy's integrator on tau * dT/dt = k P - T, piece by piece."""
    bench, rise_k = Bench(hut_settings), 0.0
    for amperes, seconds in course:
        bench.flow(amperes)
        bench.wait(seconds)
        final_k = 0.29 * amperes
        solved = solve_ivp(
            lambda _t, y, f=final_k: (f - y) / 300, (0, seconds), [rise_k], rtol=1e-9, atol=1e-9
        )
        rise_k = float(solved.y[0, -1])
    assert bench.true_c(Place.HEAT_SINK) - 18 == pytest.approx(rise_k, abs=1e-5)


def test_ripple_warms_the_cells_too(bench: Bench) -> None:
    """The effective value squared: mean squared and half the amplitude squared."""
    bench.give(Output(60.0, ripple_a=80.0))
    bench.wait(30 * 7200)
    assert bench.true_c(Place.CELLS) - 18 == pytest.approx(3 * (0.6**2 + 0.8**2 / 2))
    assert bench.true_c(Place.TRANSFORMER) == 18


def test_the_core_warms_the_transformer_with_the_contactor_open(
    hut_settings: SupervisorSettings,
) -> None:
    """8 W fully up, with the square of the knob, as long as the mains are on."""
    bench = Bench(hut_settings)
    mains = bench.world.plant.mains
    assert mains is not None
    bench.world.knob(0.5)
    bench.wait(10 * 2400)
    assert bench.true_c(Place.TRANSFORMER) == 18
    bench.world.change(mains.hold_closed)
    bench.wait(30 * 2400)
    assert bench.true_c(Place.TRANSFORMER) - 18 == pytest.approx(0.36 * 8 / 4)
    assert bench.true_c(Place.HEAT_SINK) == 18


def test_the_usual_supply_at_100_amperes(bench: Bench) -> None:
    """Common practice, no source: 35 K for the heat sink, 30 K for the iron, 3 K for the cells."""
    supply = bench.world.plant.supply
    knob = next(k / 1000 for k in range(1001) if _given(supply, k / 1000).current_a >= 100)
    bench.world.knob(knob)
    mains = bench.world.plant.mains
    assert mains is not None
    bench.world.change(mains.hold_closed)
    bench.give(_given(supply, knob))
    bench.wait(30 * 7200)
    rises_k = {place: bench.true_c(place) - 18 for place in Place}
    assert rises_k[Place.HEAT_SINK] == pytest.approx(35, abs=2)
    assert rises_k[Place.TRANSFORMER] == pytest.approx(30, abs=2)
    assert rises_k[Place.CELLS] == pytest.approx(3.3, abs=0.2)


def _given(supply: Source, knob: float) -> Output:
    supply.turn(knob, 0.0, 0.0)
    return supply.output(0.0, 3.3, 1e-4, mains=True)


def test_a_charge_warms_the_heat_sink(hut_settings: SupervisorSettings) -> None:
    """Through the plant itself: whatever steps it takes, the losses in between count."""
    clock = SimulatedClock()
    plant = PlantSettings.model_validate({"supply": {"knob": 0.8}})
    world = World(with_probes(hut_settings, PROBES), plant, clock)
    world.change(world.plant._close_for_good)
    lost_w = world.plant.output.rectifier_w
    clock.sleep_until(3000)
    world.catch_up()
    lost_w = (lost_w + world.plant.output.rectifier_w) / 2
    assert lost_w > 30
    assert world.heat.celsius(Place.HEAT_SINK, 3000.0) - 18 == pytest.approx(
        0.29 * lost_w, rel=0.05
    )


def test_what_if_does_not_warm_the_real_one(bench: Bench) -> None:
    bench.world.knob(1.0)
    bench.world.unprotected(600.0, 60.0)
    assert bench.true_c(Place.HEAT_SINK) == 18


# -- chips and files


def test_the_chip_on_the_wire_has_the_registers_of_its_class(bench: Bench) -> None:
    """Power-on values after the data sheets (memory): 0, 75 and 80 degrees."""
    assert bench.register(0) == 18 << 8
    assert bench.register(1, length=1) == 0x00
    assert (bench.register(2), bench.register(3)) == (0x4B00, 0x5000)


def test_limits_keep_nine_bits_and_half_a_word_changes_nothing(bench: Bench) -> None:
    bench.bus.writeto(0x4C, bytes([3, 0x37, 0xFF]))
    assert bench.register(3) == 0x3780
    bench.bus.writeto(0x4C, bytes([3, 0x11]))
    bench.bus.writeto(0x4C, bytes([0, 0x11, 0x11]))
    assert (bench.register(3), bench.register(0)) == (0x3780, 18 << 8)


def test_shut_down_the_temperature_stands_still_until_woken(bench: Bench) -> None:
    bench.bus.writeto(0x4C, bytes([1, 0x01]))
    bench.world.fault(fault("cold", ambient_celsius=-4))
    assert (bench.register(0), bench.register(1, length=1)) == (18 << 8, 0x01)
    bench.bus.writeto(0x4C, bytes([1, 0x00]))
    assert bench.register(0) == -4 << 8 & 0xFFFF


def test_after_a_reset_zero_until_the_first_conversion(bench: Bench) -> None:
    bench.bus.writeto(0x4C, bytes([3, 0x37, 0x00]))
    bench.bus.writeto(0x00, b"\x06")  # general call
    assert (bench.register(0), bench.register(3)) == (0, 0x5000)
    bench.wait(0.1)
    assert bench.register(0) == 18 << 8


@pytest.mark.parametrize(
    ("bits", "celsius", "word"),
    [(9, 25.2, 0x1900), (9, 25.26, 0x1980), (11, 25.1, 0x1920), (12, -0.07, 0xFFF0),
     (9, 200.0, 0x7F80), (12, 200.0, 0x7FF0), (12, -200.0, 0x8000)],
)  # fmt: skip
def test_left_justified_whatever_the_resolution(bits: int, celsius: float, word: int) -> None:
    chip = LM75Chip(lambda _at_s: celsius, bits)
    chip.write(b"\x00", 0.0)
    assert int.from_bytes(chip.read(2, 0.0), "big") == word


def test_the_checksum_of_the_well_known_example() -> None:
    """72 01 4b 46 7f ff 0e 10 has 57 in every description of the driver (memory)."""
    assert crc8(bytes.fromhex("72014b467fff0e10")) == 0x57
    assert crc8(bytes(9)) == 0


@given(st.floats(-55, 125))
def test_the_kernels_text_tells_the_temperature(celsius: float) -> None:
    value, quality = celsius_of_file(w1_slave(celsius))
    if quality is Quality.CHIP_RESET:
        assert abs(celsius - 85) <= 1 / 32
    else:
        assert value == pytest.approx(celsius, abs=1 / 32 + 0.001)
        scratchpad = bytes.fromhex(w1_slave(celsius).split(":")[0])
        assert crc8(scratchpad) == 0, "a checksum over data and checksum is 0"


def test_a_new_answer_once_a_second(bench: Bench) -> None:
    first = bench.world.one_wire.newest(SERIAL)
    assert first == OneWireAnswer(w1_slave(18.0), 0.0)
    bench.wait(0.99)
    assert bench.world.one_wire.newest(SERIAL) is first
    bench.wait(0.02)
    second = bench.world.one_wire.newest(SERIAL)
    assert second is not None
    assert second.asked_at_s == bench.clock.now_s()


def test_a_serial_number_nobody_has(bench: Bench) -> None:
    answer = bench.world.one_wire.newest("28-000000000000")
    assert answer is not None
    assert answer.text is None


# -- faults


def test_lost_and_found(bench: Bench) -> None:
    for name in ("sink", "cell"):
        bench.world.fault(fault("probe_lost", probe=name))
    with pytest.raises(OSError, match="Remote I/O"):
        bench.register(0)
    assert bench.register(0, 0x4D) == 18 << 8
    assert bench.one_wire_c() == (None, Quality.NO_ANSWER)
    bench.world.clear("probe_lost")
    assert bench.register(0) == 18 << 8
    assert bench.one_wire_c() == (18.0, Quality.GOOD)


def test_stuck_it_goes_on_telling_what_it_told(bench: Bench) -> None:
    for name in ("sink", "cell"):
        bench.world.fault(fault("probe_stuck", probe=name))
    bench.world.fault(fault("cold", ambient_celsius=2))
    assert (bench.register(0), bench.register(0, 0x4D)) == (18 << 8, 2 << 8)
    assert bench.one_wire_c() == (18.0, Quality.GOOD)
    bench.world.clear("probe_stuck")
    assert bench.register(0) == 2 << 8
    assert bench.one_wire_c() == (2.0, Quality.GOOD)


def test_at_power_on_it_shows_85_degrees_which_nobody_measured(bench: Bench) -> None:
    bench.world.fault(fault("probe_at_power_on", probe="cell"))
    assert bench.one_wire_c() == (None, Quality.CHIP_RESET)
    bench.world.clear("probe_at_power_on")
    assert bench.one_wire_c() == (18.0, Quality.GOOD)
    with pytest.raises(ValueError, match="only that one shows 85"):
        bench.world.fault(fault("probe_at_power_on", probe="sink"))


def test_a_blocked_fan_heats_one_place_with_its_own_time_constant(bench: Bench) -> None:
    bench.world.fault(fault("heat", place="heat_sink", kelvin=100))
    bench.wait(300)
    assert bench.true_c(Place.HEAT_SINK) - 18 == pytest.approx(63.21205588)
    assert bench.true_c(Place.TRANSFORMER) == 18
    bench.world.clear("heat")
    bench.wait(3000)
    assert bench.true_c(Place.HEAT_SINK) - 18 == pytest.approx(63.21205588 * math.exp(-10))


def test_a_cold_room_is_cold_for_all_of_them(bench: Bench) -> None:
    bench.world.fault(fault("cold", ambient_celsius=-12))
    assert {bench.true_c(place) for place in Place} == {-12.0}
    bench.world.clear("cold")
    assert bench.true_c(Place.CELLS) == 18


@pytest.mark.parametrize("kind", ["probe_lost", "probe_stuck", "probe_at_power_on"])
def test_a_probe_that_is_not_there_is_the_scenarios_mistake(bench: Bench, kind: str) -> None:
    with pytest.raises(ValueError, match="'oven'; there are: sink, iron, cell"):
        bench.world.fault(fault(kind, probe="oven"))


@pytest.mark.parametrize(
    "data",
    [
        {"kind": "heat", "place": "roof", "kelvin": 5},
        {"kind": "heat", "place": "cells", "kelvin": 0},
        {"kind": "cold"},
        {"kind": "probe_lost"},
    ],
)
def test_wrong_faults_are_refused(data: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        TypeAdapter(Fault).validate_python(data)
