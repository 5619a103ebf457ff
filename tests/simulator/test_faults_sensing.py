"""Faults of sense leads and of converters that are not what they seem."""

from typing import Any

import pytest
from fault_bench import FaultBench, fault
from pydantic import ValidationError

from supervisor.measurement.chain import MeasurementChain
from supervisor.readings import Channel, Quality
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.world import World

FRONT, FAR, SHUNT = Channel.FRONT_CELL, Channel.FAR_CELL, Channel.SHUNT
CELL_LSB_V = 4.096 / 32768  # ADS1115 data sheet
SHUNT_LSB_A = 0.256 / 32768 / (0.050 / 200)
NOISE = 8  # codes


@pytest.fixture
def bench(hut_settings: SupervisorSettings) -> FaultBench:
    return FaultBench(hut_settings)


def wired(settings: SupervisorSettings, name: str, **changes: Any) -> SupervisorSettings:
    wiring = getattr(settings.channels, name).model_copy(update=changes)
    channels = settings.channels.model_copy(update={name: wiring})
    return settings.model_copy(update={"channels": channels})


def strike(bench: FaultBench, kind: str, **fields: object) -> None:
    bench.world.fault(fault(kind, **fields))
    bench.wait(0.5)


def heal(bench: FaultBench, kind: str) -> None:
    bench.world.clear(kind)
    bench.wait(0.5)


@pytest.mark.parametrize("channel", ["front_cell", "far_cell"])
def test_a_shorted_lead_is_dead_zero(bench: FaultBench, channel: str) -> None:
    before = bench.code(Channel(channel))
    strike(bench, "lead_shorted", channel=channel)
    assert abs(bench.code(Channel(channel))) < NOISE
    heal(bench, "lead_shorted")
    assert bench.code(Channel(channel)) == pytest.approx(before, abs=NOISE)


@pytest.mark.parametrize("channel", ["front_cell", "far_cell"])
def test_a_reversed_lead_reads_the_same_below_zero(bench: FaultBench, channel: str) -> None:
    before = bench.code(Channel(channel))
    strike(bench, "lead_reversed", channel=channel)
    assert bench.code(Channel(channel)) == pytest.approx(-before, abs=NOISE)
    heal(bench, "lead_reversed")
    assert bench.code(Channel(channel)) == pytest.approx(before, abs=NOISE)


def test_a_lead_elsewhere_has_noise_and_does_not_follow_the_current(bench: FaultBench) -> None:
    strike(bench, "lead_elsewhere", channel="front_cell", volts=3.3)
    codes = [bench.code() for _ in range(40)]
    assert len(set(codes)) > 1
    bench.world.knob(0.5)
    bench.wait(2.0)
    codes += [bench.code() for _ in range(40)]
    assert min(codes) * CELL_LSB_V == pytest.approx(3.3, abs=NOISE * CELL_LSB_V)
    assert max(codes) - min(codes) < NOISE
    heal(bench, "lead_elsewhere")
    true_v = bench.world.plant.cell_v(0)
    assert bench.code() * CELL_LSB_V == pytest.approx(true_v, abs=NOISE * CELL_LSB_V)


def test_a_lead_elsewhere_comes_through_the_divider(hut_settings: SupervisorSettings) -> None:
    bench = FaultBench(wired(hut_settings, "far_cell", gain=2.0))
    strike(bench, "lead_elsewhere", channel="far_cell", volts=3.0)
    assert bench.code(FAR) * CELL_LSB_V == pytest.approx(1.5, abs=NOISE * CELL_LSB_V)


@pytest.mark.parametrize(
    ("changes", "input_v"),
    [
        ({}, 0.0),
        ({"open_lead_volts": 0.5}, 0.5),
        ({"open_lead_volts": 0.5, "offset_volts": 0.1, "gain": 2.0}, 0.2),
    ],
)
def test_an_open_lead_goes_where_its_resistor_pulls_it(
    hut_settings: SupervisorSettings, changes: dict[str, float], input_v: float
) -> None:
    """open_lead_volts is what the channel reads then: calibrated."""
    bench = FaultBench(wired(hut_settings, "front_cell", **changes))
    strike(bench, "lead_open", channel="front_cell")
    assert bench.code() * CELL_LSB_V == pytest.approx(input_v, abs=NOISE * CELL_LSB_V)


@pytest.mark.parametrize(
    ("kind", "fields", "bias", "quality"),
    [
        ("lead_open", {"channel": "front_cell"}, None, Quality.LEAD_OPEN),
        ("lead_open", {"channel": "front_cell"}, 0.4, Quality.LEAD_OPEN),
        ("lead_shorted", {"channel": "front_cell"}, None, Quality.LEAD_OPEN),
        ("lead_shorted", {"channel": "front_cell"}, 0.4, Quality.LEAD_SHORTED),
        ("lead_reversed", {"channel": "front_cell"}, 0.4, Quality.LEAD_REVERSED),
        ("lead_elsewhere", {"channel": "front_cell", "volts": 0.7}, 0.4, Quality.OUT_OF_RANGE),
        ("lead_elsewhere", {"channel": "front_cell", "volts": 4.5}, 0.4, Quality.CLIPPED),
        ("lead_elsewhere", {"channel": "front_cell", "volts": 3.2}, 0.4, Quality.GOOD),
        ("chip_reset", {"converter": "cells", "every": 1}, None, Quality.CHIP_RESET),
    ],
)
def test_each_fault_is_called_by_its_name(
    hut_settings: SupervisorSettings,
    kind: str,
    fields: dict[str, object],
    bias: float | None,
    quality: Quality,
) -> None:
    settings = wired(hut_settings, "front_cell", open_lead_volts=bias)
    bench = FaultBench(settings)
    strike(bench, kind, **fields)
    chain = MeasurementChain(settings)
    assert chain.take([bench.sample()])[FRONT].quality is quality


def test_a_silent_shunt_reads_nothing_while_the_current_flows(bench: FaultBench) -> None:
    strike(bench, "shunt_silent")
    assert bench.world.plant.current_a > 50
    assert abs(bench.code(SHUNT)) < 2 * NOISE
    heal(bench, "shunt_silent")
    amperes = bench.world.plant.current_a
    assert bench.code(SHUNT) * SHUNT_LSB_A == pytest.approx(amperes, rel=0.02)


@pytest.mark.parametrize("amperes", [2.0, -2.0])
def test_an_offset_of_the_shunt_is_there_without_any_current(
    bench: FaultBench, amperes: float
) -> None:
    bench.contactor.open()
    bench.wait(1.0)
    strike(bench, "shunt_offset", amperes=amperes)
    assert bench.code(SHUNT) * SHUNT_LSB_A == pytest.approx(amperes, abs=0.4)
    heal(bench, "shunt_offset")
    assert bench.code(SHUNT) * SHUNT_LSB_A == pytest.approx(0.0, abs=0.4)


def test_a_coarse_chip_gives_multiples_of_16_in_every_range(bench: FaultBench) -> None:
    strike(bench, "chip_coarse", converter="cells")
    codes = [bench.raw_code(channel) for channel in (FRONT, FAR) for _ in range(30)]
    assert {code % 16 for code in codes} == {0}
    assert {bench.raw_code(SHUNT) % 16 for _ in range(30)} != {0}
    true_v = bench.world.plant.cell_v(0)
    assert bench.code() * CELL_LSB_V == pytest.approx(true_v, abs=12 * CELL_LSB_V)
    heal(bench, "chip_coarse")
    assert {bench.raw_code() % 16 for _ in range(30)} != {0}


def test_a_coarse_chip_is_found_through_sampler_and_chain(
    hut_settings: SupervisorSettings, bench: FaultBench
) -> None:
    strike(bench, "chip_coarse", converter="cells")
    chain = MeasurementChain(hut_settings)
    scans = [chain.take([bench.sample(channel) for channel in Channel]) for _ in range(30)]
    assert [scan[FRONT].quality for scan in scans] == (
        [Quality.GOOD] * 16 + [Quality.TOO_COARSE] * 14
    )
    assert {scan[SHUNT].quality for scan in scans} == {Quality.GOOD}


def test_a_foreign_chip_keeps_only_some_bits(bench: FaultBench) -> None:
    chip = bench.world.chips["cells"]
    bench.world.fault(fault("chip_foreign", converter="cells"))
    chip.write(bytes((1, 0x43, 0xE3)), bench.clock.now_s())
    assert chip.read(2, bench.clock.now_s()) == bytes((0x83, 0x00)), "never converting"
    assert bench.sample(FAR).quality is Quality.CONFIG_CHANGED, "it has worked before"
    assert bench.sample(SHUNT).quality is Quality.GOOD
    heal(bench, "chip_foreign")
    assert bench.sample(FAR).quality is Quality.GOOD


def test_resets_in_every_nth_conversion_until_cleared(bench: FaultBench) -> None:
    bench.world.fault(fault("chip_reset", converter="cells", every=3))
    retries = bench.sampler.counters.retries
    assert {bench.sample().quality for _ in range(20)} == {Quality.GOOD}
    assert 8 <= bench.sampler.counters.retries - retries <= 12
    bench.world.clear("chip_reset")
    retries = bench.sampler.counters.retries
    assert {bench.sample().quality for _ in range(20)} == {Quality.GOOD}
    assert bench.sampler.counters.retries == retries


@pytest.mark.parametrize(
    "fields",
    [
        {"kind": "lead_shorted", "channel": "shunt"},
        {"kind": "lead_reversed", "channel": "shunt"},
        {"kind": "lead_elsewhere", "channel": "front_cell"},
        {"kind": "lead_elsewhere", "channel": "front_cell", "volts": 6.0},
        {"kind": "shunt_offset"},
        {"kind": "chip_reset", "every": 0},
    ],
)
def test_wrong_faults_are_refused(fields: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        fault(**fields)


@pytest.mark.parametrize("kind", ["chip_coarse", "chip_foreign"])
def test_a_converter_that_is_not_there(bench: FaultBench, kind: str) -> None:
    with pytest.raises(ValueError, match="no converter is named 'nowhere'"):
        bench.world.fault(fault(kind, converter="nowhere"))


def test_a_channel_that_is_not_fitted(hut_settings: SupervisorSettings) -> None:
    channels = hut_settings.channels.model_copy(update={"far_cell": None})
    settings = hut_settings.model_copy(update={"channels": channels})
    world = World(settings, PlantSettings(), SimulatedClock())
    for kind, fields in (("lead_shorted", {}), ("lead_elsewhere", {"volts": 3.3})):
        with pytest.raises(ValueError, match="far_cell is not fitted"):
            world.fault(fault(kind, channel="far_cell", **fields))
