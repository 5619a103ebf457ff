"""The converter driver on the register-level chip: no value ever carries the wrong tag."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.devices.converter import (
    ChipReset,
    ConfigChanged,
    Converter,
    NotReady,
    WrongChip,
)
from supervisor.readings import Quality
from supervisor.settings.hardware import Converter as ConverterSettings
from supervisor.settings.hardware import Inputs
from supervisor.simulator.ads1115 import ADS1115, Tolerance
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.i2c import SimulatedI2C, Wire

PINS_V = (3.40, 0.0, 1.25, 0.5)
TRUE_V: dict[Inputs, float] = {"0-1": 3.40, "2-3": 0.75, "0": 3.40, "2": 1.25, "3": 0.5}
RANGE_V = 4.096
LSB_V = RANGE_V / 0x8000
IDEAL = Tolerance()


class Board:
    """One chip at 0x48 on a wire, and our converter on top."""

    def __init__(self, sps: int = 860, kilohertz: int = 400, tolerance: Tolerance = IDEAL) -> None:
        self.clock = SimulatedClock()
        self.wire = Wire(self.clock, kilohertz)
        self.chip = ADS1115(lambda pin, _t, _span: PINS_V[pin], Random(1), tolerance)
        self.wire.chips[0x48] = self.chip
        settings = ConverterSettings.model_validate({"address": 0x48, "samples_per_second": sps})
        self.converter = Converter(SimulatedI2C(self.wire), settings, self.clock)

    def reads_right(self, inputs: Inputs) -> bool:
        code, _ = self.converter.convert(inputs, RANGE_V)
        return abs(code * LSB_V - TRUE_V[inputs]) < 4 * LSB_V


@pytest.mark.parametrize("sps", [250, 475, 860])
@pytest.mark.parametrize("clock_error", [-0.10, 0.0, 0.10])
def test_every_input_reads_its_own_voltage_with_the_chips_clock_at_its_limits(
    sps: int, clock_error: float
) -> None:
    board = Board(sps, tolerance=Tolerance(clock_error=clock_error))
    for inputs in [*TRUE_V, *reversed(TRUE_V)] * 5:
        assert board.reads_right(inputs)


@pytest.mark.parametrize("seed", range(50))
def test_the_first_reading_from_cold_is_right(seed: int) -> None:
    tolerance = Tolerance(clock_error=Random(seed).uniform(-0.1, 0.1))
    board = Board(tolerance=tolerance)
    code, _ = board.converter.convert("0-1", RANGE_V)
    assert abs(code * LSB_V - TRUE_V["0-1"]) <= 2 * LSB_V


def test_four_messages_a_conversion_in_three_transfers() -> None:
    board = Board()
    board.converter.convert("0-1", RANGE_V)
    before = board.wire.messages, board.wire.transfers
    board.converter.convert("2-3", RANGE_V)
    assert (board.wire.messages - before[0], board.wire.transfers - before[1]) == (4, 3)


@given(
    slow_factor=st.floats(0.8, 6),
    inputs=st.lists(st.sampled_from(list(TRUE_V)), min_size=2, max_size=12),
)
def test_a_chip_however_slow_gives_the_right_value_or_none(
    slow_factor: float, inputs: list[Inputs]
) -> None:
    board = Board()
    board.chip.trouble.slow_factor = slow_factor
    for each in inputs:
        try:
            assert board.reads_right(each)
        except NotReady:
            continue


def test_a_result_of_the_input_asked_for_before_is_never_handed_out() -> None:
    board = Board()
    board.chip.trouble.slow_factor = 2.6
    with pytest.raises(NotReady):
        board.converter.convert("0-1", RANGE_V)
    board.chip.trouble.slow_factor = 1.0
    for _ in range(4):
        try:
            assert board.reads_right("2-3")
        except NotReady:
            continue


@given(after_us=st.integers(0, 4000), inputs=st.sampled_from(list(TRUE_V)))
def test_a_reset_at_any_phase_gives_the_right_value_or_none(after_us: int, inputs: Inputs) -> None:
    board = Board(kilohertz=100)
    reset = board.clock.alarm(lambda: board.chip.reset(board.clock.now_s()))
    reset.set(board.clock.now_s() + after_us * 1e-6)
    try:
        assert board.reads_right(inputs)
    except (ConfigChanged, NotReady):
        assert board.reads_right(inputs)


def test_a_bus_that_reads_zeros_ends_within_its_deadline() -> None:
    board = Board()
    board.wire.trouble.stuck_low = True
    before_s = board.clock.now_s()
    for _ in range(3):
        with pytest.raises((ConfigChanged, NotReady)):
            board.converter.convert("0-1", RANGE_V)
    assert board.clock.now_s() - before_s < 3 * 0.006


@given(every=st.integers(1, 9))
def test_shifted_words_are_told_or_harmless(every: int) -> None:
    """A shifted result register is caught by nothing but plausibility: so is its use here."""
    board = Board()
    board.wire.trouble.shift_every = every
    for inputs in ["0-1", "2-3", "0"] * 4:
        try:
            code, _ = board.converter.convert(inputs, RANGE_V)
        except (ConfigChanged, NotReady):
            continue
        true_code = TRUE_V[inputs] / LSB_V
        shifted = ((round(true_code) << 1 | 1) & 0xFFFF) - (
            0x10000 if (round(true_code) << 1) & 0x8000 else 0
        )
        assert min(abs(code - true_code), abs(code - shifted)) < 9


def test_absent_chip_says_so_at_construction() -> None:
    board = Board()
    del board.wire.chips[0x48]
    settings = ConverterSettings.model_validate({"address": 0x48})
    with pytest.raises((OSError, ValueError)):
        Converter(SimulatedI2C(board.wire), settings, board.clock)


def test_the_sample_is_stamped_with_its_conversion_not_with_its_reading() -> None:
    board = Board(sps=250)
    board.clock.sleep_until(10)
    board.clock.alarm(lambda: board.clock.stall(2.0)).set(10.002)  # while it converts
    _, taken_at_s = board.converter.convert("0-1", RANGE_V)
    assert board.clock.now_s() > 12
    assert taken_at_s < 10.1


# --- what is read back instead of what was written


def failure(board: Board) -> ConfigChanged:
    with pytest.raises(ConfigChanged) as caught:
        board.converter.convert("0-1", RANGE_V)
    return caught.value


@pytest.mark.parametrize("proven", [False, True])
def test_power_on_values_are_a_reset_also_of_a_chip_that_has_proved_nothing_yet(
    proven: bool,
) -> None:
    """8583h after reset: ADS1115 data sheet."""
    board = Board()
    if proven:
        board.converter.convert("0-1", RANGE_V)
    board.chip.trouble.reset_every = 1
    error = failure(board)
    assert type(error) is ChipReset
    assert error.quality is Quality.CHIP_RESET
    assert str(error).endswith("read 8583h")
    assert board.converter.is_proven is proven


@given(after_us=st.integers(0, 4000))
def test_a_reset_in_mid_conversion_is_told_as_one(after_us: int) -> None:
    board = Board(kilohertz=100)
    board.converter.convert("2-3", RANGE_V)
    reset = board.clock.alarm(lambda: board.chip.reset(board.clock.now_s()))
    reset.set(board.clock.now_s() + after_us * 1e-6)
    try:
        assert board.reads_right("0-1")
    except ChipReset:
        assert board.reads_right("0-1")


def test_a_chip_that_never_kept_its_configuration_is_the_wrong_one() -> None:
    board = Board()
    board.chip.trouble.foreign = True
    for _ in range(5):
        error = failure(board)
        assert type(error) is WrongChip
        assert error.quality is Quality.WRONG_CHIP
        assert str(error) == "wrote 83E3h, read 8300h"
    assert board.converter.is_proven is False


def test_a_chip_that_has_proved_itself_once_is_the_right_one() -> None:
    board = Board()
    assert board.converter.is_proven is False
    board.converter.convert("0-1", RANGE_V)
    assert board.converter.is_proven is True
    board.chip.trouble.foreign = True
    error = failure(board)
    assert type(error) is ConfigChanged
    assert error.quality is Quality.CONFIG_CHANGED


def test_a_chip_proven_before_starts_as_one() -> None:
    board = Board()
    settings = ConverterSettings.model_validate({"address": 0x48})
    board.converter = Converter(SimulatedI2C(board.wire), settings, board.clock, is_proven=True)
    board.chip.trouble.foreign = True
    assert type(failure(board)) is ConfigChanged


def test_a_bus_held_low_says_nothing_of_the_chip() -> None:
    board = Board()
    board.converter._refuse_while_converting()
    board.wire.trouble.stuck_low = True
    error = failure(board)
    assert type(error) is ConfigChanged
    assert str(error).endswith("read 0000h")
    assert board.converter.is_proven is False


# --- what befalls the result itself, and other programs


class CutWire(Wire):
    """From bit ``cut`` on, the next result reads as zeros or ones."""

    cut: int | None = None
    ends_in = 1
    resets = stays_low = False

    def _exchange(self, address: int, data: bytes | None, wanted: int | None) -> bytes:
        answer = super()._exchange(address, data, wanted)
        if self.cut is None or data != b"\0":
            return answer
        mask, word = 0xFFFF >> self.cut, int.from_bytes(answer, "big")
        self.cut = None
        if self.resets:
            self.chips[address].reset(self._clock.now_s())
        self.trouble.stuck_low = self.stays_low
        return (word | mask if self.ends_in else word & ~mask).to_bytes(2, "big")


@pytest.mark.parametrize("is_reset", [True, False], ids=["the chip is reset", "the wire goes low"])
@pytest.mark.parametrize("bit", range(16))
def test_a_result_that_is_cut_short_is_off_by_little_or_refused(bit: int, is_reset: bool) -> None:
    """A released line reads ones, a held one zeros."""
    board = Board()
    wire = CutWire(board.clock, 400)
    wire.chips[0x48] = board.chip
    settings = ConverterSettings.model_validate({"address": 0x48, "samples_per_second": 860})
    board.converter = Converter(SimulatedI2C(wire), settings, board.clock)
    assert board.reads_right("0-1")
    wire.cut, wire.ends_in = bit, int(is_reset)
    wire.resets, wire.stays_low = is_reset, not is_reset
    try:
        code, _ = board.converter.convert("0-1", RANGE_V)
    except ConfigChanged:
        return
    assert abs(code - 3.40 / LSB_V) <= 63 + 4


def foreign(board: Board) -> None:
    """Another program has input 2 converted, at 860 a second."""
    word = 0x8000 | 6 << 12 | 1 << 9 | 0x100 | 0xE3
    board.chip.write(bytes([1, *word.to_bytes(2, "big")]), board.clock.now_s())


@given(before_us=st.integers(0, 3000))
def test_another_program_on_the_chip_is_found_when_asked_first(before_us: int) -> None:
    board = Board()
    assert board.reads_right("0-1")
    foreign(board)
    board.clock.sleep_until(board.clock.now_s() + before_us * 1e-6)
    with pytest.raises(ConfigChanged, match="found"):
        board.converter.convert("0-1", RANGE_V, asks_first=True)
    for _ in range(4):  # and what is under way is not taken for ours
        try:
            assert board.reads_right("0-1")
        except NotReady:
            continue


def test_asked_first_a_chip_that_nobody_else_uses_is_used_on() -> None:
    board = Board()
    for inputs in ["0-1", "2-3"] * 3:
        code, _ = board.converter.convert(inputs, RANGE_V, asks_first=True)
        assert abs(code * LSB_V - TRUE_V[inputs]) < 4 * LSB_V


def test_asked_first_a_chip_that_was_reset_says_so() -> None:
    board = Board()
    assert board.reads_right("0-1")
    board.chip.reset(board.clock.now_s())
    with pytest.raises(ChipReset):
        board.converter.convert("0-1", RANGE_V, asks_first=True)
    assert board.reads_right("0-1")


def test_a_chip_that_is_slower_than_any_is_asked_a_few_times_only() -> None:
    """Each look is a transfer, and the scan has a time."""
    board = Board(kilohertz=100)
    assert board.reads_right("0-1")
    board.chip.trouble.slow_factor = 50
    before = board.wire.transfers
    with pytest.raises(NotReady):
        board.converter.convert("0-1", RANGE_V)
    assert board.wire.transfers - before <= 8
