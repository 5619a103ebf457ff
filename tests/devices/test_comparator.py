"""What the comparator is told: bit for bit after the data sheet (Texas Instruments SBAS444).

The configuration word: bits 14-12 multiplexer, 11-9 range, 8 single-shot, 7-5 rate, 4 window,
3 active high, 2 latching, 1-0 conversions until ALERT (00 one, 01 two, 10 four, 11 off).
"""

from fractions import Fraction
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from second_lines import with_second_line

from supervisor.devices.comparator import Comparator, NotAsWritten, Register, Thresholds
from supervisor.settings.hardware import Converter, Inputs, SecondLine
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.ads1115 import ADS1115
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.i2c import SimulatedI2C, Wire

RANGES_V = (6.144, 4.096, 2.048, 1.024, 0.512, 0.256)


def line(**changes: object) -> SecondLine:
    given = {
        "converter": "guard", "inputs": "0-1", "trip_volts": 3.64, "release_volts": 3.4, "pin": 26,
    }  # fmt: skip
    return SecondLine.model_validate(given | changes)


def comparator(samples_per_second: int = 860, **changes: object) -> Comparator:
    chip = Converter.model_validate({"address": 0x4A, "samples_per_second": samples_per_second})
    return Comparator(line(**changes), chip)


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({}, 0x02E1),
        ({"inputs": "0-3"}, 0x12E1),
        ({"inputs": "1-3"}, 0x22E1),
        ({"inputs": "2-3"}, 0x32E1),
        ({"inputs": "0"}, 0x42E1),
        ({"inputs": "1"}, 0x52E1),
        ({"inputs": "2"}, 0x62E1),
        ({"inputs": "3"}, 0x72E1),
        ({"range_volts": 6.144}, 0x00E1),
        ({"range_volts": 2.048}, 0x04E1),
        ({"range_volts": 1.024}, 0x06E1),
        ({"range_volts": 0.512}, 0x08E1),
        ({"range_volts": 0.256}, 0x0AE1),
        ({"samples_per_second": 250}, 0x02A1),
        ({"samples_per_second": 475}, 0x02C1),
    ],
)
def test_configuration(changes: dict[str, object], word: int) -> None:
    """Continuous, traditional, active low, not latching, two conversions."""
    board = Board()
    comparator(**changes).configure(board.bus)  # type: ignore[arg-type]
    assert board.chip._registers[Register.CONFIG] == word


def test_thresholds_of_the_example() -> None:
    """125 uV a step: 3.64 V is 29120 steps, 3.40 V 27200; one less where a float falls short."""
    limits = comparator().thresholds(3.40, 3.64)
    assert limits.high in (29119, 29120)
    assert limits.low in (27199, 27200)
    assert comparator(gain=2.0, range_volts=2.048).thresholds(3.4001, 3.6401) == Thresholds(
        27200, 29120
    )


@given(
    volts=st.floats(0.01, 4.0),
    range_v=st.sampled_from(RANGES_V),
    gain=st.floats(0.5, 10),
)
def test_a_threshold_is_never_above_its_setting_and_less_than_a_step_below(
    volts: float, range_v: float, gain: float
) -> None:
    code = comparator(range_volts=range_v, gain=gain).thresholds(volts, volts).high
    step = Fraction(range_v) / 32768 * Fraction(gain)
    if code == 0x7FFF:
        assert Fraction(volts) > step * 0x7FFF - step
    else:
        slack = step / 10**9  # of the division in floating point
        assert code * step <= Fraction(volts) + slack
        assert Fraction(volts) < (code + 1) * step + slack


@pytest.mark.parametrize(("volts", "code"), [(-0.01, 0), (0.0, 0), (4.096, 0x7FFF), (5.0, 0x7FFF)])
def test_thresholds_stay_within_what_the_register_holds(volts: float, code: int) -> None:
    assert comparator().thresholds(volts, volts) == Thresholds(code, code)


class Board:
    """The comparator on a register-level chip whose input is at ``volts``."""

    def __init__(self, volts: float = 3.3, inputs: Inputs = "0-1") -> None:
        self.clock = SimulatedClock()
        self.wire = Wire(self.clock, 400)
        self.chip = ADS1115(lambda pin, _t, _s: volts if pin == 0 else 0.0, Random(1))
        self.wire.chips[0x4A] = self.chip
        self.bus = SimulatedI2C(self.wire)
        self.comparator = comparator(inputs=inputs)

    def program(self) -> None:
        self.comparator.configure(self.bus)
        self.clock.sleep_until(self.clock.now_s() + 0.01)


def test_written_words_are_in_the_chip() -> None:
    board = Board()
    board.comparator.write(board.bus, Register.LOW, 0x1234)
    board.comparator.write(board.bus, Register.HIGH, 0x5678)
    board.program()
    assert board.chip._registers[1:] == [0x02E1, 0x1234, 0x5678]


def test_two_transfers_to_write_and_one_to_prove() -> None:
    board = Board()
    board.comparator.write(board.bus, Register.LOW, 1)
    assert board.wire.transfers == 2
    board.comparator.prove(board.bus, Register.LOW, 1)
    assert board.wire.transfers == 3


@pytest.mark.parametrize("bit", range(16))
@pytest.mark.parametrize("register", [Register.CONFIG, Register.LOW, Register.HIGH])
def test_a_single_wrong_bit_is_found(register: Register, bit: int) -> None:
    """But bit 15 of the configuration: it says whether a conversion is running."""
    board = Board()
    board.comparator.write(board.bus, register, 0x02E1)
    if register is Register.CONFIG and bit == 15:
        board.comparator.prove(board.bus, register, 0x02E1 ^ 1 << bit)
    else:
        with pytest.raises(NotAsWritten, match=f"{register.name} reads"):
            board.comparator.prove(board.bus, register, 0x02E1 ^ 1 << bit)


def test_a_mismatch_names_both_words() -> None:
    board = Board()
    with pytest.raises(NotAsWritten, match="LOW reads 8000h, not 0001h"):
        board.comparator.prove(board.bus, Register.LOW, 1)


def test_a_write_that_is_lost_is_found() -> None:
    board = Board()
    board.wire.trouble.stuck_low = True
    with pytest.raises(NotAsWritten, match="HIGH reads 0000h, not 71C0h"):
        board.comparator.write(board.bus, Register.HIGH, 0x71C0)


@pytest.mark.parametrize("volts", [3.3, 0.0, -0.2])
def test_volts_of_the_newest_conversion(volts: float) -> None:
    board = Board(volts)
    board.program()
    assert board.comparator.volts(board.bus) == pytest.approx(volts, abs=0.5e-3)
    assert board.wire.transfers == 4


@pytest.mark.parametrize(
    ("word", "volts"), [(0x0001, 125e-6), (0x7FFF, 4.095875), (0x8000, -4.096), (0xFFFF, -125e-6)]
)
def test_codes_are_signed(word: int, volts: float) -> None:
    board = Board()
    board.program()
    board.chip.trouble.frozen = True
    board.chip._registers[Register.CONVERSION] = word
    assert board.comparator.volts(board.bus) == pytest.approx(volts, abs=1e-9)


def test_a_reading_of_a_chip_that_was_reset_is_none() -> None:
    board = Board()
    board.program()
    board.chip.reset(board.clock.now_s())
    with pytest.raises(NotAsWritten, match="CONFIG reads 8583h, not 02E1h"):
        board.comparator.volts(board.bus)


def test_volts_count_the_divider(hut_settings: SupervisorSettings) -> None:
    settings = with_second_line(hut_settings, gain=2.0).second_line
    assert settings is not None
    board = Board(1.65)
    board.comparator = Comparator(settings, Converter(address=0x4A))
    board.program()
    assert board.comparator.volts(board.bus) == pytest.approx(3.30, abs=1e-3)


def test_an_absent_chip_is_an_oserror() -> None:
    board = Board()
    board.wire.absent.add(0x4A)
    with pytest.raises(OSError, match="Remote I/O"):
        board.comparator.volts(board.bus)
