"""The simulated I2C wire: how long a transfer takes, and what a sick wire does."""

import errno

import pytest

from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.i2c import SimulatedI2C, Wire, WireTrouble

ADDRESS = 0x48


class Register:
    """A chip with one 16-bit register, no pointer."""

    def __init__(self) -> None:
        self.word = b"\x12\x34"
        self.resets = 0

    def write(self, data: bytes, _at_s: float) -> None:
        if len(data) == 2:
            self.word = data

    def read(self, length: int, _at_s: float) -> bytes:
        return self.word[:length]

    def reset(self, _at_s: float) -> None:
        self.resets += 1


def wire_with_chip(kilohertz: int = 100) -> tuple[Wire, SimulatedClock, Register]:
    clock, chip = SimulatedClock(), Register()
    wire = Wire(clock, kilohertz)
    wire.chips[ADDRESS] = chip
    return wire, clock, chip


def read_word(bus: SimulatedI2C) -> bytes:
    word = bytearray(2)
    bus.readfrom_into(ADDRESS, word)
    return bytes(word)


def error_of(bus: SimulatedI2C) -> int | None:
    try:
        read_word(bus)
    except OSError as error:
        return error.errno
    return None


@pytest.mark.parametrize("kilohertz", [100, 400])
def test_a_transfer_takes_its_bits(kilohertz: int) -> None:
    """100 kHz: about 0.4 ms a configuration write, 0.5 ms a register read; 400 kHz a quarter."""
    wire, clock, _ = wire_with_chip(kilohertz)
    wire.transfer(ADDRESS, b"\x01\xc3\xe3")
    write_s = clock.now_s()
    assert write_s == pytest.approx(38 / (kilohertz * 1000))
    wire.transfer(ADDRESS, b"\x01", 2)
    assert clock.now_s() - write_s == pytest.approx(48 / (kilohertz * 1000))


def test_transfers_and_messages_are_counted() -> None:
    wire, _, _ = wire_with_chip()
    bus = SimulatedI2C(wire)
    bus.writeto(ADDRESS, b"\x56\x78")
    bus.writeto_then_readfrom(ADDRESS, b"", bytearray(2))
    assert (wire.transfers, wire.messages, wire.errors) == (2, 3, 0)


@pytest.mark.parametrize("number", [errno.EREMOTEIO, errno.EIO, errno.ETIMEDOUT])
def test_errors_for_so_many_transfers(number: int) -> None:
    wire, _, _ = wire_with_chip()
    wire.trouble = WireTrouble(error=number, error_transfers=2)
    bus = SimulatedI2C(wire)
    assert [error_of(bus) for _ in range(4)] == [number, number, None, None]
    assert wire.errors == 2


def test_a_lost_bus_state_is_found_only_by_reopening() -> None:
    wire, _, _ = wire_with_chip()
    bus = SimulatedI2C(wire)
    wire.trouble = WireTrouble(error=errno.EIO, error_until_reopened=True)
    assert [error_of(bus) for _ in range(3)] == [errno.EIO] * 3
    bus.close()
    assert error_of(SimulatedI2C(wire)) is None


def test_an_error_that_lasts_is_not_helped_by_reopening() -> None:
    wire, _, _ = wire_with_chip()
    wire.trouble = WireTrouble(error=errno.EIO)
    assert error_of(SimulatedI2C(wire)) == errno.EIO


@pytest.mark.parametrize("number", [errno.EREMOTEIO, errno.ENXIO])
def test_an_absent_chip_does_not_acknowledge(number: int) -> None:
    wire, _, _ = wire_with_chip()
    wire.absent_errno = number
    wire.absent.add(ADDRESS)
    assert error_of(SimulatedI2C(wire)) == number


def test_held_low_reads_zeros_and_loses_writes() -> None:
    wire, _, chip = wire_with_chip()
    wire.trouble.stuck_low = True
    bus = SimulatedI2C(wire)
    bus.writeto(ADDRESS, b"\xff\xff")
    bus.writeto(0x00, b"\x06")
    assert read_word(bus) == b"\x00\x00"
    assert (chip.word, chip.resets) == (b"\x12\x34", 0)


def test_a_slow_bus_takes_longer() -> None:
    wire, clock, _ = wire_with_chip()
    wire.trouble.slow_factor = 10.0
    wire.transfer(ADDRESS, b"\x01\xc3\xe3")
    assert clock.now_s() == pytest.approx(3.8e-3)


def test_a_hanging_bus_ends_in_a_timeout() -> None:
    wire, clock, _ = wire_with_chip()
    wire.trouble.hang_s = 2.0
    assert error_of(SimulatedI2C(wire)) == errno.ETIMEDOUT
    assert clock.now_s() == 2.0


def test_words_arrive_shifted_every_so_often() -> None:
    wire, _, _ = wire_with_chip()
    wire.trouble.shift_every = 3
    bus = SimulatedI2C(wire)
    words = [read_word(bus).hex() for _ in range(6)]
    assert words == ["1234", "1234", "2469", "1234", "1234", "2469"]


def test_general_call_resets_every_chip_that_is_there() -> None:
    wire, _, chip = wire_with_chip()
    other, absent = Register(), Register()
    wire.chips.update({0x49: other, 0x4A: absent})
    wire.absent.add(0x4A)
    SimulatedI2C(wire).writeto(0x00, b"\x06")
    assert (chip.resets, other.resets, absent.resets) == (1, 1, 0)
