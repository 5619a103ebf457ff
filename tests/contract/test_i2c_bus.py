"""One contract for the simulated bus and for the kernel's bus through smbus2.

Below the real one, the system calls are replaced by a kernel that decodes I2C_RDWR and puts the
messages on the same simulated wire, with the same simulated chip.
"""

import ctypes
import errno
import os
from collections.abc import Callable
from random import Random
from types import SimpleNamespace
from typing import Any

import pytest
import smbus2.smbus2 as smbus2_module
from adafruit_ads1x15 import ads1115 as driver_module

from supervisor.devices import i2c as devices_i2c
from supervisor.devices import transfer as devices_transfer
from supervisor.devices.errors import HardwareMissing
from supervisor.devices.i2c import KernelI2C
from supervisor.devices.protocols import I2CBus
from supervisor.simulator.ads1115 import ADS1115, Tolerance
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.i2c import SimulatedI2C, Wire, WireTrouble

ADDRESS = 0x48
PINS_V = (1.0, 2.0, 3.0, 0.5)
I2C_M_RD = 0x0001


class FakeKernel:
    """open, close and ioctl of /dev/i2c-1."""

    def __init__(self, wire: Wire) -> None:
        self.wire = wire
        self.open_files = 0
        self.told: dict[int, int] = {}
        self.lacking = 0  # messages that an adapter leaves out without a word

    def open(self, path: str, _flags: int) -> int:
        if path != "/dev/i2c-1":
            raise OSError(errno.ENOENT, os.strerror(errno.ENOENT), path)
        self.open_files += 1
        self.wire.reopened()
        return 7

    def close(self, _fd: int) -> None:
        self.open_files -= 1

    def ioctl(self, _fd: int, request: int, argument: Any) -> int:
        if request == smbus2_module.I2C_FUNCS:
            argument.value = int(smbus2_module.I2cFunc.I2C)
        elif request == smbus2_module.I2C_RDWR:
            self._transfer([argument.msgs[k] for k in range(argument.nmsgs)])
            return int(argument.nmsgs) - self.lacking
        else:
            self.told[request] = argument
        return 0

    def _transfer(self, messages: list[Any]) -> None:
        writes = [message for message in messages if not message.flags & I2C_M_RD]
        reads = [message for message in messages if message.flags & I2C_M_RD]
        assert len(writes) <= 1
        assert len(reads) <= 1
        data = ctypes.string_at(writes[0].buf, writes[0].len) if writes else None
        answer = self.wire.transfer(messages[0].addr, data, reads[0].len if reads else None)
        for message in reads:
            ctypes.memmove(message.buf, answer, message.len)


@pytest.fixture
def clock() -> SimulatedClock:
    return SimulatedClock()


@pytest.fixture
def wire(clock: SimulatedClock) -> Wire:
    wire = Wire(clock)
    chip = ADS1115(lambda pin, _t, _span: PINS_V[pin], Random(1), Tolerance(noise_factor=0))
    wire.chips[ADDRESS] = chip
    return wire


@pytest.fixture
def kernel(wire: Wire, monkeypatch: pytest.MonkeyPatch) -> FakeKernel:
    kernel = FakeKernel(wire)
    calls = SimpleNamespace(open=kernel.open, close=kernel.close, O_RDWR=os.O_RDWR)
    monkeypatch.setattr(smbus2_module, "os", calls)
    monkeypatch.setattr(smbus2_module, "ioctl", kernel.ioctl)
    monkeypatch.setattr(devices_i2c, "ioctl", kernel.ioctl)
    monkeypatch.setattr(devices_transfer, "ioctl", kernel.ioctl)
    return kernel


@pytest.fixture(params=["simulated", "kernel"])
def open_bus(
    request: pytest.FixtureRequest, wire: Wire, kernel: FakeKernel
) -> Callable[[], I2CBus]:
    assert kernel.wire is wire
    if request.param == "simulated":
        return lambda: SimulatedI2C(wire)
    return lambda: KernelI2C(1, deadline_s=0.02)


def test_a_transfer_carried_out_in_part_is_an_error_and_no_older_answer(
    wire: Wire, kernel: FakeKernel
) -> None:
    bus = KernelI2C(1, deadline_s=0.02)
    assert read_register(bus, 1) == 0x8583  # ADS1115 data sheet: after power-on
    kernel.lacking = 1
    assert error_of(bus) == errno.EIO
    assert kernel.wire is wire


def read_register(bus: I2CBus, pointer: int) -> int:
    word = bytearray(2)
    bus.writeto_then_readfrom(ADDRESS, bytes([pointer]), word)
    return int.from_bytes(word, "big")


def error_of(bus: I2CBus) -> int | None:
    try:
        read_register(bus, 1)
    except OSError as error:
        return error.errno
    return None


@pytest.mark.parametrize(("gain", "range_v"), [(2 / 3, 6.144), (1, 4.096)])
def test_the_unmodified_driver_reads_right_values(
    open_bus: Callable[[], I2CBus], gain: float, range_v: float
) -> None:
    driver = driver_module.ADS1115(open_bus(), gain=gain, data_rate=860)
    codes = [driver.read(mux) for mux in range(8)]
    volts = [code * range_v / 32768 for code in codes]
    assert volts == pytest.approx([-1.0, 0.5, 1.5, 2.5, 1.0, 2.0, 3.0, 0.5], abs=range_v / 32768)


def test_the_unmodified_driver_in_continuous_mode_returns_the_old_channel(
    open_bus: Callable[[], I2CBus], monkeypatch: pytest.MonkeyPatch, clock: SimulatedClock
) -> None:
    """Its configuration write keeps the old multiplexer setting: why single-shot is used."""
    monkeypatch.setattr("time.sleep", lambda s: clock.sleep_until(clock.now_s() + s))
    driver = driver_module.ADS1115(open_bus(), gain=1, data_rate=860)
    driver.read(4)
    driver.mode = 0
    assert driver.read(5) == 8000  # AIN0's 1.0 V, not AIN1's 2.0 V


def test_the_drivers_read_polls_without_pause(open_bus: Callable[[], I2CBus], wire: Wire) -> None:
    driver = driver_module.ADS1115(open_bus(), data_rate=8)
    before = wire.messages
    driver.read(4)
    assert wire.messages - before > 100


def test_registers_by_pointer(open_bus: Callable[[], I2CBus]) -> None:
    bus = open_bus()
    assert [read_register(bus, pointer) for pointer in range(4)] == [0, 0x8583, 0x8000, 0x7FFF]
    bus.writeto(ADDRESS, bytes([3, 0x12, 0x34]))
    word = bytearray(2)
    bus.readfrom_into(ADDRESS, word)
    assert word == b"\x12\x34"


def test_buffers_are_sliced_by_start_and_end(open_bus: Callable[[], I2CBus]) -> None:
    bus = open_bus()
    bus.writeto(ADDRESS, bytes([0xEE, 3, 0x12, 0x34, 0xEE]), start=1, end=4)
    buffer = bytearray(b"\xaa" * 5)
    bus.readfrom_into(ADDRESS, buffer, start=1, end=3)
    assert buffer == b"\xaa\x12\x34\xaa\xaa"
    buffer = bytearray(b"\xaa" * 4)
    bus.writeto_then_readfrom(
        ADDRESS, bytes([0xEE, 2, 0xEE]), buffer, out_start=1, out_end=2, in_start=2, in_end=4
    )
    assert buffer == b"\xaa\xaa\x80\x00"


def test_an_empty_write_probes_an_address(open_bus: Callable[[], I2CBus]) -> None:
    bus = open_bus()
    bus.writeto(ADDRESS, b"")
    with pytest.raises(OSError) as caught:  # noqa: PT011  (the number is what matters)
        bus.writeto(0x4B, b"")
    assert caught.value.errno == errno.EREMOTEIO


@pytest.mark.parametrize("number", [errno.EREMOTEIO, errno.EIO, errno.ETIMEDOUT, errno.ENXIO])
def test_errors_carry_the_kernels_number(
    open_bus: Callable[[], I2CBus], wire: Wire, number: int
) -> None:
    bus = open_bus()
    wire.trouble = WireTrouble(error=number, error_transfers=1)
    assert [error_of(bus), error_of(bus)] == [number, None]


def test_a_failed_read_leaves_the_buffer_alone(open_bus: Callable[[], I2CBus], wire: Wire) -> None:
    bus = open_bus()
    wire.trouble = WireTrouble(error=errno.EIO)
    buffer = bytearray(b"\xaa\xaa")
    with pytest.raises(OSError, match=os.strerror(errno.EIO)):
        bus.readfrom_into(ADDRESS, buffer)
    assert buffer == b"\xaa\xaa"


def test_a_lost_bus_state_needs_close_and_open(open_bus: Callable[[], I2CBus], wire: Wire) -> None:
    bus = open_bus()
    wire.trouble = WireTrouble(error=errno.EIO, error_until_reopened=True)
    assert [error_of(bus), error_of(bus)] == [errno.EIO, errno.EIO]
    bus.close()
    assert error_of(open_bus()) is None


def test_lock_is_exclusive(open_bus: Callable[[], I2CBus]) -> None:
    bus = open_bus()
    assert bus.try_lock()
    assert not bus.try_lock()
    bus.unlock()
    assert bus.try_lock()


def test_a_lock_not_held_cannot_be_released(open_bus: Callable[[], I2CBus]) -> None:
    with pytest.raises(RuntimeError):
        open_bus().unlock()


def test_a_register_read_is_one_transfer_of_two_messages(
    open_bus: Callable[[], I2CBus], wire: Wire
) -> None:
    bus = open_bus()
    before = (wire.transfers, wire.messages)
    read_register(bus, 1)
    assert (wire.transfers - before[0], wire.messages - before[1]) == (1, 2)


# --- what only the kernel's bus promises


def test_the_kernel_gets_its_deadline_and_no_retries(kernel: FakeKernel) -> None:
    bus = KernelI2C(1, deadline_s=0.02)
    assert kernel.told == {devices_i2c.I2C_TIMEOUT: 2, devices_i2c.I2C_RETRIES: 0}
    bus.close()
    assert kernel.open_files == 0


def test_a_missing_bus_says_what_to_do(kernel: FakeKernel) -> None:
    with pytest.raises(HardwareMissing, match=r"no /dev/i2c-3.*switch I2C on"):
        KernelI2C(3, deadline_s=0.02)
    assert kernel.open_files == 0
