"""All probes together: a little in every cycle, never in the way of the converters."""

import errno
import logging
from collections import Counter
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from probes import CELL, SERIAL, SINK, with_probes

from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.protocols import I2CBus, OneWireAnswer
from supervisor.devices.sampler import ConverterSampler
from supervisor.devices.thermometers import Thermometers
from supervisor.readings import Channel, Place, ProbeReading, Quality
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.i2c import SimulatedI2C, Wire
from supervisor.simulator.lm75 import LM75Chip
from supervisor.simulator.one_wire import w1_slave
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.world import World

CYCLE_S = 0.1 / 7
IRON = {"chip": "lm75", "place": "transformer", "address": 0x4D}


class FakeOneWire:
    """Says what it is told to say."""

    def __init__(self) -> None:
        self.answers: dict[str, OneWireAnswer] = {}
        self.closed = 0

    def newest(self, serial: str) -> OneWireAnswer | None:
        return self.answers.get(serial)

    def close(self) -> None:
        self.closed += 1


class BadChip(LM75Chip):
    """Does something bad at each transfer."""

    act: Callable[[], None]

    def write(self, data: bytes, at_s: float) -> None:  # noqa: ARG002
        self.act()


class Bench:
    """Chips on a wire, at temperatures that can be changed; the wire counts what is asked."""

    def __init__(self, settings: SupervisorSettings, probes: dict[str, dict[str, Any]]) -> None:
        self.clock = SimulatedClock(start_s=100.0)
        self.wire = Wire(self.clock)
        self.celsius: dict[int, float] = {}
        self.asked: list[tuple[float, int, int]] = []  # when, address, register
        self.one_wire = FakeOneWire()
        fitted = with_probes(settings, probes).probes
        for probe in fitted.values():
            if probe.address is not None:
                self.celsius[probe.address] = 20.0
                self.wire.chips[probe.address] = LM75Chip(self._at(probe.address))
        self.openings = 0
        self.keeper = BusKeeper(self.open_bus, self.clock, deadline_s=0.02)
        self.thermometers = Thermometers(fitted, self.keeper, self.clock, self.one_wire)

    def _at(self, address: int) -> Callable[[float], float]:
        return lambda _at_s: self.celsius[address]

    def open_bus(self) -> I2CBus:
        self.openings += 1
        bench = self

        class Noting(SimulatedI2C):
            def _transfer(
                self, address: int, data: bytes | None, wanted: int | None = None
            ) -> bytes:
                assert data is not None
                bench.asked.append((bench.clock.now_s(), address, data[0]))
                return super()._transfer(address, data, wanted)

        return Noting(self.wire)

    def bad_chip(self, address: int, act: Callable[[], None]) -> None:
        chip = BadChip(self._at(address))
        chip.act = act
        self.wire.chips[address] = chip

    def run(self, seconds: float) -> dict[str, ProbeReading]:
        """Cycles of the loop; what the last one saw."""
        until_s = self.clock.now_s() + seconds
        seen = self.thermometers.look()
        while (next_s := self.clock.now_s() + CYCLE_S) < until_s:
            self.clock.sleep_until(next_s)
            seen = self.thermometers.look()
        return dict(seen)


@pytest.fixture
def bench(hut_settings: SupervisorSettings) -> Bench:
    return Bench(hut_settings, {"sink": SINK, "iron": IRON, "cell": CELL})


def test_before_the_first_answer_every_probe_has_none(bench: Bench) -> None:
    assert bench.thermometers.look() == {
        "sink": ProbeReading("sink", Place.HEAT_SINK, None, Quality.NO_ANSWER, 100.0),
        "iron": ProbeReading("iron", Place.TRANSFORMER, None, Quality.NO_ANSWER, 100.0),
        "cell": ProbeReading("cell", Place.CELLS, None, Quality.NO_ANSWER, 100.0),
    }


def test_every_probe_has_its_own_temperature(bench: Bench) -> None:
    bench.celsius = {0x4C: 61.5, 0x4D: 44.25}
    bench.one_wire.answers[SERIAL] = OneWireAnswer(w1_slave(21.0625), 99.0)
    seen = bench.run(0.2)
    assert {name: reading.celsius for name, reading in seen.items()} == {
        "sink": 61.5, "iron": 44.25, "cell": 21.062,
    }  # fmt: skip
    assert {reading.quality for reading in seen.values()} == {Quality.GOOD}
    assert seen["cell"].taken_at_s == 99.0


def test_taken_when_the_temperature_was_read_not_when_the_proof_ended(bench: Bench) -> None:
    seen = bench.run(0.2)
    temperatures_s = [at_s for at_s, address, register in bench.asked
                      if (address, register) == (0x4C, 0)]  # fmt: skip
    assert seen["sink"].taken_at_s == temperatures_s[0]


def test_one_short_transfer_a_call_at_most(bench: Bench) -> None:
    for _ in range(1000):
        before = bench.wire.transfers
        bench.thermometers.look()
        assert bench.wire.transfers - before <= 1
        bench.clock.sleep_until(bench.clock.now_s() + CYCLE_S)


def test_each_chip_once_a_second(bench: Bench) -> None:
    bench.run(10.0)
    assert Counter(address for _, address, _ in bench.asked) == {0x4C: 40, 0x4D: 40}
    for address in (0x4C, 0x4D):
        began_s = [at_s for at_s, asked, register in bench.asked
                   if (asked, register) == (address, 0)]  # fmt: skip
        gaps_s = [b - a for a, b in pairwise(began_s)]
        assert all(1.0 <= gap_s < 1.1 for gap_s in gaps_s)


def test_a_turn_is_not_interrupted_by_another_chips(bench: Bench) -> None:
    bench.run(5.0)
    turns = [bench.asked[k : k + 4] for k in range(0, len(bench.asked), 4)]
    for turn in turns:
        assert len({address for _, address, _ in turn}) == 1
        assert [register for _, _, register in turn] == [0, 1, 2, 3]


def test_a_probe_that_is_not_there_says_so_and_is_asked_every_second(bench: Bench) -> None:
    bench.wire.absent.add(0x4C)
    seen = bench.run(10.0)
    assert (seen["sink"].celsius, seen["sink"].quality) == (None, Quality.NO_ANSWER)
    assert seen["sink"].taken_at_s > bench.clock.now_s() - 1.1
    assert seen["iron"].quality is Quality.GOOD
    assert Counter(address for _, address, _ in bench.asked) == {0x4C: 10, 0x4D: 40}
    bench.wire.absent.clear()
    assert bench.run(1.2)["sink"].quality is Quality.GOOD


def test_a_probe_that_fails_between_two_registers_keeps_nothing_of_them(bench: Bench) -> None:
    bench.celsius[0x4C] = 25.0
    bench.thermometers.look()
    bench.wire.absent.add(0x4C)
    bench.run(0.5)
    bench.wire.absent.clear()
    bench.celsius[0x4C] = 70.0
    assert bench.run(1.2)["sink"].celsius == 70.0


def converters_beside(
    settings: SupervisorSettings, spoil: Callable[[World], None], seconds: float
) -> tuple[BusKeeper, list[Quality]]:
    """The example's channels and a probe on one bus, cycle by cycle, and how the former fared."""
    clock = SimulatedClock()
    world = World(with_probes(settings, {"sink": SINK}), PlantSettings(), clock)
    spoil(world)
    keeper = BusKeeper(world.open_bus, clock, settings.bus.deadline_milliseconds / 1000)
    sampler = ConverterSampler(world.settings, keeper, clock)
    thermometers = Thermometers(world.settings.probes, keeper, clock, None)
    qualities = []
    for k in range(round(seconds / CYCLE_S)):
        clock.sleep_until(k * CYCLE_S)
        qualities += [sampler.sample(channel).quality for channel in Channel]
        thermometers.look()
    return keeper, qualities


@pytest.mark.parametrize("number", [errno.EREMOTEIO, errno.ENXIO])
def test_a_dead_probe_never_costs_the_converters_the_bus(
    hut_settings: SupervisorSettings, number: int
) -> None:
    def lose(world: World) -> None:
        world.wire.absent.add(0x4C)
        world.wire.absent_errno = number

    keeper, qualities = converters_beside(hut_settings, lose, 30.0)
    assert set(qualities) == {Quality.GOOD}
    assert keeper.counters.reopenings == 0
    assert 28 <= keeper.counters.errors <= 31  # told in the counters: once a second


def test_a_probe_that_hangs_the_bus_again_costs_one_reopening_in_ten_seconds(
    hut_settings: SupervisorSettings,
) -> None:
    """Such a chip is left alone in between: the converters must not starve of it."""

    def spoil(world: World) -> None:
        def hang() -> None:
            world.clock.sleep_until(world.clock.now_s() + 0.03)
            raise OSError(errno.ETIMEDOUT, "timed out")

        chip = BadChip(lambda _at_s: 20.0)
        chip.act = hang
        world.wire.chips[0x4C] = chip

    keeper, qualities = converters_beside(hut_settings, spoil, 60.0)
    assert keeper.counters.reopenings == 7  # two at first, then one in ten seconds
    lost = sum(quality is not Quality.GOOD for quality in qualities) / len(qualities)
    assert lost < 0.05


def test_a_hang_makes_the_keeper_close_the_bus_at_once(bench: Bench) -> None:
    def hang() -> None:
        bench.clock.sleep_until(bench.clock.now_s() + 0.021)
        raise OSError(errno.ETIMEDOUT, "timed out")

    bench.bad_chip(0x4C, hang)
    bench.thermometers.look()
    assert not bench.keeper.is_open
    assert bench.keeper.counters.reopenings == 1
    assert bench.run(2.5)["iron"].quality is Quality.GOOD  # the others go on
    assert [a for _, a, _ in bench.asked].count(0x4C) == 2, "once may happen: asked again soon"
    bench.run(8.0)
    assert [a for _, a, _ in bench.asked].count(0x4C) == 2, "twice in a row: left alone"
    bench.run(1.0)
    assert [a for _, a, _ in bench.asked].count(0x4C) == 3


def test_an_error_within_the_deadline_is_no_hang(bench: Bench) -> None:
    def slow() -> None:
        bench.clock.sleep_until(bench.clock.now_s() + 0.019)
        raise OSError(errno.EIO, "input/output error")

    bench.bad_chip(0x4C, slow)
    bench.thermometers.look()
    assert bench.keeper.is_open
    assert bench.keeper.counters.reopenings == 0


def test_a_bus_that_cannot_be_opened_raises_nothing(bench: Bench) -> None:
    bench.keeper._open_bus = lambda: (_ for _ in ()).throw(OSError(errno.ENODEV, "no device"))
    seen = bench.run(5.0)
    assert seen["sink"].quality is seen["iron"].quality is Quality.NO_ANSWER


@given(errors=st.lists(st.sampled_from([None, 5, 6, 110, 121]), max_size=60))
def test_whatever_the_bus_does_a_temperature_is_the_true_one(
    hut_settings: SupervisorSettings, errors: list[int | None]
) -> None:
    bench = Bench(hut_settings, {"sink": SINK})
    for number in errors:
        bench.wire.trouble.error = number
        reading = bench.run(0.05)["sink"]
        assert reading.celsius == (20.0 if reading.quality.is_good else None)


def test_shifted_words_and_a_wire_held_low_give_no_temperature(bench: Bench) -> None:
    bench.wire.trouble.shift_every = 1
    assert bench.run(1.2)["sink"].quality is Quality.WRONG_CHIP
    bench.wire.trouble.shift_every = None
    bench.wire.trouble.stuck_low = True
    assert bench.run(1.2)["sink"].quality is Quality.NO_ANSWER


def test_an_answer_of_the_one_wire_bus_is_taken_once_and_then_ages(bench: Bench) -> None:
    bench.one_wire.answers[SERIAL] = OneWireAnswer(w1_slave(20.0), 100.0)
    first = bench.run(1.0)["cell"]
    assert bench.run(100.0)["cell"] is first
    assert first.taken_at_s == 100.0
    bench.one_wire.answers[SERIAL] = OneWireAnswer(None, 200.0)
    assert bench.run(0.1)["cell"] == ProbeReading(
        "cell", Place.CELLS, None, Quality.NO_ANSWER, 200.0
    )


def test_what_was_given_out_never_changes(bench: Bench) -> None:
    before = bench.thermometers.look()
    copy = dict(before)
    bench.run(3.0)
    assert before == copy
    with pytest.raises(TypeError):
        before["sink"] = copy["iron"]  # type: ignore[index]


def test_without_probes_nothing_is_asked(hut_settings: SupervisorSettings) -> None:
    bench = Bench(hut_settings, {})
    assert bench.run(5.0) == {}
    assert bench.openings == 0


def test_a_ds18b20_without_a_bus_has_no_answer(hut_settings: SupervisorSettings) -> None:
    bench = Bench(hut_settings, {"cell": CELL})
    bench.thermometers = Thermometers(
        with_probes(hut_settings, {"cell": CELL}).probes, bench.keeper, bench.clock, None
    )
    assert bench.run(5.0)["cell"].quality is Quality.NO_ANSWER
    bench.thermometers.close()


def test_close_closes_the_one_wire_bus(bench: Bench) -> None:
    bench.thermometers.close()
    assert bench.one_wire.closed == 1


def test_a_fault_that_lasts_is_told_every_ten_seconds(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    bench.wire.absent.add(0x4C)
    with caplog.at_level(logging.WARNING, "supervisor.devices.thermometers"):
        bench.run(29.0)
    told = [record.getMessage() for record in caplog.records]
    assert len(told) == 3
    assert all(text.startswith("probe sink: no answer (") for text in told)


def test_a_healthy_probe_tells_nothing(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG, "supervisor.devices.thermometers"):
        bench.run(5.0)
    assert not caplog.records
