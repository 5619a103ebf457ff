"""The LM75 class: temperatures by its data sheets (from memory), and proof of the chip."""

import errno

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.devices.lm75 import LM75, Registers, celsius_of_registers
from supervisor.readings import Quality
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.i2c import SimulatedI2C, Wire
from supervisor.simulator.lm75 import LM75Chip

ADDRESS = 0x4C
HYSTERESIS, LIMIT = 0x4B00, 0x5000  # 75 and 80 degrees at power-on (data sheets, from memory)
words = st.integers(0, 0xFFFF)


def said(
    temperature: int, configuration: int = 0, hysteresis: int = HYSTERESIS, limit: int = LIMIT
) -> tuple[float | None, Quality]:
    return celsius_of_registers(Registers(temperature, configuration, hysteresis, limit))


@pytest.mark.parametrize(
    ("word", "celsius"),
    [
        # 9 bits, the LM75's own table
        (0x7D00, 125.0), (0x1900, 25.0), (0x0080, 0.5), (0x0000, 0.0),
        (0xFF80, -0.5), (0xE700, -25.0), (0xC900, -55.0),
        # 11 and 12 bits, of its successors
        (0x0020, 0.125), (0x1920, 25.125), (0xFFE0, -0.125),
        (0x0010, 0.0625), (0x7CF0, 124.9375), (0xFFF0, -0.0625), (0xC910, -54.9375),
    ],
)  # fmt: skip
def test_words_of_the_data_sheets(word: int, celsius: float) -> None:
    assert said(word) == (celsius, Quality.GOOD)


@pytest.mark.parametrize("word", [0x7D10, 0x7F00, 0x7FF0, 0xC8F0, 0x8000])
def test_beyond_what_the_class_can_measure(word: int) -> None:
    assert said(word) == (None, Quality.OUT_OF_RANGE)


@pytest.mark.parametrize("configuration", [0x00, 0x02, 0x04, 0x18, 0x60, 0x7E])
def test_mode_polarity_queue_and_resolution_do_not_matter(configuration: int) -> None:
    assert said(0x1900, configuration) == (25.0, Quality.GOOD)


@pytest.mark.parametrize("configuration", [0x01, 0x61, 0x19])
def test_shut_down_the_temperature_stands_still(configuration: int) -> None:
    assert said(0x1900, configuration) == (None, Quality.CONFIG_CHANGED)


@pytest.mark.parametrize("word", [0x0000, 0xFFFF])
@pytest.mark.parametrize("configuration", [0x00, 0xFF])
def test_a_wire_that_stands_still_is_no_answer(word: int, configuration: int) -> None:
    """A data line held low reads 0000h (field report): 0 degrees, would it be believed."""
    assert said(word, configuration, word, word) == (None, Quality.NO_ANSWER)


@pytest.mark.parametrize(
    ("registers", "chip"),
    [
        (Registers(0x6B25, 0x85, 0x8000, 0x7FFF), "ADS1115 after its reset (data sheet)"),
        (Registers(0x0C80, 0x02, 0x6000, 0x8000), "16 bits of 7.8125 mK: would read half (memory)"),
        (Registers(0x0C81, 0x60, HYSTERESIS, LIMIT), "13 bits: would read half (memory)"),
        (Registers(0x1902, 0x00, HYSTERESIS, LIMIT), "bits below the twelfth"),
        (Registers(0x1908, 0x00, HYSTERESIS, LIMIT), "bits below the twelfth"),
        (Registers(0x1900, 0x80, HYSTERESIS, LIMIT), "one-shot: does not convert by itself"),
        (Registers(0x1900, 0x00, LIMIT, HYSTERESIS), "hysteresis above the limit"),
        (Registers(0x1900, 0x00, LIMIT, LIMIT), "hysteresis at the limit"),
        (Registers(0x1900, 0x00, 0x4BFF, 0x4B80), "at the limit, in nine bits"),
        (Registers(0x1900, 0x00, 0xC880, LIMIT), "hysteresis of -55.5 degrees"),
        (Registers(0x1900, 0x00, HYSTERESIS, 0x7D80), "limit of 125.5 degrees"),
        (Registers(0x1900, 0x00, 0x0000, 0x0000), "zeros but for the temperature"),
        (Registers(0x1900, 0xFF, 0xFFFF, 0xFFFF), "ones but for the temperature"),
        (Registers(0x0000, 0x00, 0x0000, LIMIT << 1 & 0xFFFF), "a shifted limit"),
    ],
)
def test_another_chip(registers: Registers, chip: str) -> None:
    assert celsius_of_registers(registers) == (None, Quality.WRONG_CHIP), chip


@pytest.mark.parametrize(
    ("hysteresis", "limit"), [(0xC900, 0x7D00), (0x4B00, 0x4B80), (0x0000, 0x0080), (0x4B7F, LIMIT)]
)
def test_limits_somebody_else_has_set_are_his_business(hysteresis: int, limit: int) -> None:
    assert said(0x1900, 0, hysteresis, limit) == (25.0, Quality.GOOD)


@given(word=words)
def test_a_word_shifted_on_its_way_is_never_believed(word: int) -> None:
    """Field report: shortened clock pulses shift the bits; the released line reads high."""
    assert said((word << 1 | 1) & 0xFFFF)[1] is not Quality.GOOD


@given(words, st.integers(0, 0xFF), words, words)
def test_either_a_temperature_in_range_or_a_reason(
    temperature: int, configuration: int, hysteresis: int, limit: int
) -> None:
    celsius, quality = said(temperature, configuration, hysteresis, limit)
    assert (celsius is not None) is quality.is_good
    if celsius is not None:
        assert -55 <= celsius <= 125
        assert round(celsius * 256) & 0xFFFF == temperature


class Bench:
    """A chip on a wire, at a temperature that can be changed."""

    def __init__(self, bits: int = 12) -> None:
        self.clock = SimulatedClock()
        self.wire = Wire(self.clock)
        self.celsius = 25.0
        self.chip = LM75Chip(lambda _at_s: self.celsius, bits)
        self.wire.chips[ADDRESS] = self.chip
        self.bus = SimulatedI2C(self.wire)
        self.lm75 = LM75(ADDRESS)

    def turn(self) -> Registers:
        for _ in range(3):
            assert self.lm75.read_on(self.bus) is None
        registers = self.lm75.read_on(self.bus)
        assert registers is not None
        return registers


@pytest.mark.parametrize("bits", [9, 10, 11, 12])
@pytest.mark.parametrize("celsius", [-55.0, -20.06, -0.2, 0.0, 0.2, 18.31, 61.44, 125.0])
def test_reads_what_the_chip_measures(bits: int, celsius: float) -> None:
    bench = Bench(bits)
    bench.celsius = celsius
    value, quality = celsius_of_registers(bench.turn())
    assert quality is Quality.GOOD
    assert value == pytest.approx(celsius, abs=2.0 ** (7 - bits))


def test_one_transfer_a_call_and_nothing_is_ever_written() -> None:
    bench = Bench()
    for _ in range(8):
        before = bench.wire.transfers
        bench.lm75.read_on(bench.bus)
        assert bench.wire.transfers == before + 1
    assert bench.wire.messages == 16  # a pointer and a read each
    assert bench.turn() == Registers(0x1900, 0x00, HYSTERESIS, LIMIT)


@pytest.mark.parametrize("register", range(4))
def test_after_an_error_the_turn_begins_anew(register: int) -> None:
    """A temperature from before the error would be older than it is said to be."""
    bench = Bench()
    for _ in range(register):
        bench.lm75.read_on(bench.bus)
    bench.wire.trouble.error, bench.wire.trouble.error_transfers = errno.EIO, 1
    with pytest.raises(OSError, match="Input/output"):
        bench.lm75.read_on(bench.bus)
    bench.celsius = 60.0
    assert celsius_of_registers(bench.turn()) == (60.0, Quality.GOOD)


def test_stuck_low_reads_as_no_answer() -> None:
    bench = Bench()
    bench.wire.trouble.stuck_low = True
    assert celsius_of_registers(bench.turn()) == (None, Quality.NO_ANSWER)


def test_shut_down_by_somebody_else() -> None:
    bench = Bench()
    bench.bus.writeto(ADDRESS, bytes([1, 1]))
    bench.celsius = 90.0
    registers = bench.turn()
    assert registers.temperature == 0x1900
    assert celsius_of_registers(registers) == (None, Quality.CONFIG_CHANGED)
