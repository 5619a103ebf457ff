"""One contract for every kind of probe, real and simulated leaves alike.

The I2C chip sits on the simulated wire, once behind the simulated bus and once behind smbus2 and a
kernel that is played; the one-wire probe once on a tree of files that the real code reads, once on
the simulated bus.
"""

import ctypes
import os
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any, Protocol

import pytest
import smbus2.smbus2 as smbus2_module
from probes import CELL, SERIAL, SINK, with_probes

from supervisor.devices import i2c as devices_i2c
from supervisor.devices import one_wire as devices_one_wire
from supervisor.devices import transfer as devices_transfer
from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.i2c import KernelI2C
from supervisor.devices.one_wire import KernelOneWire
from supervisor.devices.protocols import I2CBus
from supervisor.devices.thermometers import Thermometers
from supervisor.readings import Place, ProbeReading, Quality
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.i2c import SimulatedI2C, Wire
from supervisor.simulator.lm75 import LM75Chip
from supervisor.simulator.one_wire import SimulatedOneWire, w1_slave
from supervisor.simulator.probes import SimulatedProbe

GUARD_S = 20.0  # only when something is broken does anything here take so long
CYCLE_S = 0.1 / 7


class Bench(Protocol):
    """A thermometer with one probe whose surroundings can be changed."""

    thermometers: Thermometers
    place: Place
    now_s: Callable[[], float]

    def set(self, celsius: float) -> None: ...

    def lose(self) -> None: ...

    def find(self) -> None: ...

    def hold_the_wire_low(self) -> None: ...

    def settle(self) -> ProbeReading:
        """Let it ask for what is true now; what it then says."""
        ...

    def close(self) -> None: ...


class OnTheWire:
    """An lm75 on the simulated wire, behind a bus that the test brings along."""

    place = Place.HEAT_SINK

    def __init__(
        self, settings: SupervisorSettings, wire: Wire, open_bus: Callable[[], I2CBus]
    ) -> None:
        self.clock = wire._clock
        self.now_s = self.clock.now_s
        self.wire = wire
        self._celsius = 20.0
        wire.chips[0x4C] = LM75Chip(lambda _at_s: self._celsius)
        keeper = BusKeeper(open_bus, self.clock, deadline_s=0.02)
        probes = with_probes(settings, {"it": SINK}).probes
        self.thermometers = Thermometers(probes, keeper, self.clock, None)

    def set(self, celsius: float) -> None:
        self._celsius = celsius

    def lose(self) -> None:
        self.wire.absent.add(0x4C)

    def find(self) -> None:
        self.wire.absent.clear()

    def hold_the_wire_low(self) -> None:
        self.wire.trouble.stuck_low = True

    def settle(self) -> ProbeReading:
        until_s = self.now_s() + 2.2
        while self.now_s() < until_s:
            self.thermometers.look()
            self.clock.sleep_until(self.now_s() + CYCLE_S)
        return self.thermometers.look()["it"]

    def close(self) -> None:
        self.thermometers.close()


class OnSimulatedOneWire:
    """A ds18b20 on the simulated one-wire bus."""

    place = Place.CELLS

    def __init__(self, settings: SupervisorSettings) -> None:
        self.clock = SimulatedClock(start_s=50.0)
        self.now_s = self.clock.now_s
        self._celsius = 20.0
        self.probe = SimulatedProbe(lambda _at_s: self._celsius)
        bus = SimulatedOneWire(
            {SERIAL: self.probe}, self.clock, catch_up=lambda: None, lock=threading.RLock()
        )
        keeper = BusKeeper(_no_bus, self.clock, deadline_s=0.02)
        probes = with_probes(settings, {"it": CELL}).probes
        self.thermometers = Thermometers(probes, keeper, self.clock, bus)

    def set(self, celsius: float) -> None:
        self._celsius = celsius

    def lose(self) -> None:
        self.probe.lost = True

    def find(self) -> None:
        self.probe.lost = False

    def hold_the_wire_low(self) -> None:
        self.probe.lost = True  # the double knows no other way; the real one does

    def settle(self) -> ProbeReading:
        self.clock.sleep_until(self.now_s() + 1.1)
        return self.thermometers.look()["it"]

    def close(self) -> None:
        self.thermometers.close()


class OnFiles:
    """A ds18b20 as the kernel shows it, read by the real code in its thread."""

    place = Place.CELLS

    def __init__(self, settings: SupervisorSettings, root: Path) -> None:
        self._asked = 0
        self._changed = threading.Condition()
        self._file = root / SERIAL / "w1_slave"
        self._file.parent.mkdir()
        self._text = ""
        self.set(20.0)
        bus = KernelOneWire([SERIAL], self, root)  # type: ignore[arg-type]  # now_s is all it asks
        keeper = BusKeeper(_no_bus, SimulatedClock(), deadline_s=0.02)
        probes = with_probes(settings, {"it": CELL}).probes
        self.thermometers = Thermometers(probes, keeper, self, bus)  # type: ignore[arg-type]

    def now_s(self) -> float:
        """Counts; the thread asks before each read."""
        with self._changed:
            self._asked += 1
            self._changed.notify_all()
            return float(self._asked)

    def _write(self, text: str) -> None:
        """In one step: the kernel never shows half an answer."""
        new = self._file.with_name("new")
        new.write_text(text)
        new.replace(self._file)

    def set(self, celsius: float) -> None:
        self._text = w1_slave(celsius)
        self._write(self._text)

    def lose(self) -> None:
        self._file.unlink()

    def find(self) -> None:
        self._write(self._text)

    def hold_the_wire_low(self) -> None:
        zeros = "00 " * 9
        self._write(f"{zeros}: crc=00 YES\n{zeros}t=0\n")

    def settle(self) -> ProbeReading:
        with self._changed:
            until = self._asked + 3  # the read under way, and one after it, have ended
            assert self._changed.wait_for(lambda: self._asked >= until, GUARD_S)
        return self.thermometers.look()["it"]

    def close(self) -> None:
        self.thermometers.close()


def _no_bus() -> I2CBus:
    raise AssertionError("a one-wire probe has no business on the I2C bus")


class PlayedKernel:
    """open, close and ioctl of /dev/i2c-1, on the simulated wire."""

    def __init__(self, wire: Wire) -> None:
        self._wire = wire

    def ioctl(self, _fd: int, request: int, argument: Any) -> int:
        if request == smbus2_module.I2C_FUNCS:
            argument.value = int(smbus2_module.I2cFunc.I2C)
        elif request == smbus2_module.I2C_RDWR:
            self._transfer([argument.msgs[k] for k in range(argument.nmsgs)])
            return int(argument.nmsgs)
        return 0

    def _transfer(self, messages: list[Any]) -> None:
        writes = [message for message in messages if not message.flags & 1]
        reads = [message for message in messages if message.flags & 1]
        assert len(writes) <= 1
        assert len(reads) <= 1
        data = ctypes.string_at(writes[0].buf, writes[0].len) if writes else None
        answer = self._wire.transfer(messages[0].addr, data, reads[0].len if reads else None)
        for message in reads:
            ctypes.memmove(message.buf, answer, message.len)


@pytest.fixture(params=["lm75", "lm75 by smbus2", "simulated ds18b20", "ds18b20 by files"])
def bench(
    request: pytest.FixtureRequest,
    hut_settings: SupervisorSettings,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Bench]:
    monkeypatch.setattr(devices_one_wire, "PAUSE_S", 0.001)
    wire = Wire(SimulatedClock(start_s=50.0))
    made: Bench
    match request.param:
        case "lm75":
            made = OnTheWire(hut_settings, wire, lambda: SimulatedI2C(wire))
        case "lm75 by smbus2":
            kernel = PlayedKernel(wire)
            files = SimpleNamespace(open=lambda *_: 7, close=lambda _: None, O_RDWR=os.O_RDWR)
            monkeypatch.setattr(smbus2_module, "os", files)
            monkeypatch.setattr(smbus2_module, "ioctl", kernel.ioctl)
            monkeypatch.setattr(devices_i2c, "ioctl", kernel.ioctl)
            monkeypatch.setattr(devices_transfer, "ioctl", kernel.ioctl)
            made = OnTheWire(hut_settings, wire, lambda: KernelI2C(1, deadline_s=0.02))
        case "simulated ds18b20":
            made = OnSimulatedOneWire(hut_settings)
        case _:
            made = OnFiles(hut_settings, tmp_path)
    yield made
    made.close()


@pytest.mark.parametrize("celsius", [-55.0, -10.5, 0.0, 0.5, 23.0, 61.5, 84.5, 85.5, 125.0])
def test_tells_the_true_temperature(bench: Bench, celsius: float) -> None:
    bench.set(celsius)
    reading = bench.settle()
    assert reading == ProbeReading("it", bench.place, celsius, Quality.GOOD, reading.taken_at_s)


def test_follows_what_changes_and_says_when_it_was(bench: Bench) -> None:
    first = bench.settle()
    bench.set(30.0)
    changed_s = bench.now_s()
    second = bench.settle()
    assert (first.celsius, second.celsius) == (20.0, 30.0)
    assert first.taken_at_s <= changed_s <= second.taken_at_s <= bench.now_s()
    assert first.taken_at_s < second.taken_at_s


def test_lost_it_has_a_reason_and_no_temperature(bench: Bench) -> None:
    bench.settle()
    bench.lose()
    lost_s = bench.now_s()
    reading = bench.settle()
    assert (reading.celsius, reading.quality) == (None, Quality.NO_ANSWER)
    assert reading.taken_at_s > lost_s
    bench.find()
    assert bench.settle().celsius == 20.0


def test_a_wire_held_low_is_not_a_freezing_cell(bench: Bench) -> None:
    bench.settle()
    bench.hold_the_wire_low()
    reading = bench.settle()
    assert (reading.celsius, reading.quality) == (None, Quality.NO_ANSWER)


@pytest.mark.parametrize("celsius", [125.5, 127.5, -55.5, -60.0])
def test_out_of_its_range_it_does_not_say_how_hot(bench: Bench, celsius: float) -> None:
    bench.set(celsius)
    reading = bench.settle()
    assert (reading.celsius, reading.quality) == (None, Quality.OUT_OF_RANGE)


def test_only_a_ds18b20_cannot_tell_85_degrees_from_its_start(bench: Bench) -> None:
    bench.set(85.0)
    reading = bench.settle()
    if bench.place is Place.CELLS:
        assert (reading.celsius, reading.quality) == (None, Quality.CHIP_RESET)
    else:
        assert (reading.celsius, reading.quality) == (85.0, Quality.GOOD)
