"""The simulated chip against the facts of the ADS1115's data sheet."""

import statistics
from random import Random

import pytest

from supervisor.simulator.ads1115 import ADS1115, POWER_UP_S, Analog, Tolerance

CONVERSION, CONFIG, LO_THRESH, HI_THRESH = range(4)
QUIET = Tolerance(noise_factor=0.0)

# OS, AIN0 against ground, +-4.096 V, single-shot, 860 SPS, comparator off
START = 0xC3E3
AIN1 = 0x1000
CONTINUOUS = START & ~0x8100
PERIOD_S = 1 / 860


def pins(*volts: float) -> Analog:
    return lambda pin, _middle_s, _span_s: volts[pin]


def chip_with(analog: Analog, tolerance: Tolerance = QUIET) -> ADS1115:
    return ADS1115(analog, Random(1), tolerance)


def write(chip: ADS1115, register: int, word: int, at_s: float) -> None:
    chip.write(bytes([register, word >> 8, word & 0xFF]), at_s)


def read(chip: ADS1115, register: int, at_s: float) -> int:
    chip.write(bytes([register]), at_s)
    return int.from_bytes(chip.read(2, at_s), "big")


def signed(word: int) -> int:
    return word - 0x10000 if word & 0x8000 else word


def converted(chip: ADS1115, config: int, at_s: float = 0.0) -> int:
    write(chip, CONFIG, config, at_s)
    return signed(read(chip, CONVERSION, at_s + 1.0))


def test_registers_after_power_on() -> None:
    chip = chip_with(pins(1, 1, 1, 1))
    words = [read(chip, register, 0.0) for register in range(4)]
    assert words == [0x0000, 0x8583, 0x8000, 0x7FFF]


def test_reset_restores_defaults_and_loses_the_running_conversion() -> None:
    chip = chip_with(pins(1, 1, 1, 1))
    write(chip, HI_THRESH, 0x1234, 0.0)
    write(chip, CONFIG, START, 0.0)
    chip.reset(PERIOD_S / 2)
    words = [read(chip, register, 1.0) for register in range(4)]
    assert words == [0x0000, 0x8583, 0x8000, 0x7FFF]


def test_an_incomplete_word_and_a_write_to_the_result_change_nothing() -> None:
    chip = chip_with(pins(1, 1, 1, 1))
    chip.write(bytes([CONFIG, 0xC3]), 0.0)
    write(chip, CONVERSION, 0x1234, 0.0)
    assert read(chip, CONFIG, 0.0) == 0x8583
    assert read(chip, CONVERSION, 0.0) == 0


def test_the_pointer_stays_for_the_next_read() -> None:
    chip = chip_with(pins(1, 1, 1, 1))
    chip.write(bytes([HI_THRESH]), 0.0)
    assert chip.read(2, 0.0) == chip.read(2, 0.1) == b"\x7f\xff"


@pytest.mark.parametrize("clock_error", [-0.1, 0.0, 0.1])
@pytest.mark.parametrize(("rate_code", "rate"), [(5, 250), (6, 475), (7, 860)])
def test_a_conversion_takes_its_period_and_the_power_up(
    clock_error: float, rate_code: int, rate: int
) -> None:
    """Data rate tolerance +-10 %: 860 SPS takes 1.06 to 1.29 ms, 250 SPS 3.6 to 4.4 ms."""
    chip = chip_with(pins(1, 1, 1, 1), Tolerance(clock_error=clock_error, noise_factor=0))
    config = START & ~0x00E0 | rate_code << 5
    write(chip, CONFIG, config, 0.0)
    end_s = POWER_UP_S + (1 + clock_error) / rate
    assert read(chip, CONFIG, end_s - 1e-6) == config & 0x7FFF
    assert read(chip, CONVERSION, end_s - 1e-6) == 0
    assert read(chip, CONFIG, end_s + 1e-6) == config
    assert read(chip, CONVERSION, end_s + 1e-6) == 8000


def test_until_the_conversion_ends_the_old_result_is_read() -> None:
    chip = chip_with(pins(1.0, 2.0, 0, 0))
    assert converted(chip, START) == 8000
    write(chip, CONFIG, START | AIN1, 2.0)
    assert read(chip, CONVERSION, 2.0 + PERIOD_S / 2) == 8000
    assert read(chip, CONVERSION, 2.0 + PERIOD_S * 1.1) == 16000


def test_setting_os_while_converting_does_nothing() -> None:
    chip = chip_with(pins(1.0, 2.0, 0, 0))
    write(chip, CONFIG, START, 0.0)
    write(chip, CONFIG, START | AIN1, PERIOD_S / 2)
    assert read(chip, CONFIG, PERIOD_S * 1.1) == START | AIN1  # reads back, and done
    assert read(chip, CONVERSION, PERIOD_S * 1.1) == 8000  # yet the old input's
    assert read(chip, CONVERSION, 10.0) == 8000  # and nothing was started


def test_without_os_nothing_is_converted_in_single_shot() -> None:
    assert converted(chip_with(pins(1, 1, 1, 1)), START & 0x7FFF) == 0


def test_in_continuous_mode_a_new_configuration_acts_after_the_running_conversion() -> None:
    chip = chip_with(pins(1.0, 2.0, 0, 0))
    write(chip, CONFIG, CONTINUOUS, 0.0)
    assert read(chip, CONVERSION, PERIOD_S * 1.1) == 8000
    write(chip, CONFIG, CONTINUOUS | AIN1, PERIOD_S * 1.2)
    assert read(chip, CONFIG, PERIOD_S * 1.2) == CONTINUOUS | AIN1
    assert read(chip, CONVERSION, PERIOD_S * 2.1) == 8000
    assert read(chip, CONVERSION, PERIOD_S * 3.1) == 16000


def test_continuous_mode_never_reads_ready_and_goes_on_for_hours() -> None:
    chip = chip_with(lambda _pin, middle_s, _span_s: 1.0 if middle_s < 3600 else 2.0)
    write(chip, CONFIG, CONTINUOUS, 0.0)
    assert read(chip, CONFIG, 1.0) == CONTINUOUS
    assert read(chip, CONVERSION, 3599.9) == 8000
    assert read(chip, CONVERSION, 3600.1) == 16000


def test_leaving_continuous_mode_ends_the_running_conversion_first() -> None:
    chip = chip_with(pins(1.0, 2.0, 0, 0))
    write(chip, CONFIG, CONTINUOUS, 0.0)
    write(chip, CONFIG, START | AIN1, PERIOD_S / 2)
    assert read(chip, CONFIG, 1.0) & 0x8000
    assert read(chip, CONVERSION, 1.0) == 8000


@pytest.mark.parametrize(
    ("mux", "volts"),
    [(0, -1.0), (1, -3.0), (2, -2.0), (3, -1.0), (4, 0.5), (5, 1.5), (6, 2.5), (7, 3.5)],
)
def test_multiplexer(mux: int, volts: float) -> None:
    chip = chip_with(pins(0.5, 1.5, 2.5, 3.5))
    assert converted(chip, START & ~0x7000 | mux << 12) == volts * 8000


@pytest.mark.parametrize(
    ("gain", "lsb_uv"),
    [(0, 187.5), (1, 125), (2, 62.5), (3, 31.25), (4, 15.625), (5, 7.8125), (7, 7.8125)],
)
def test_size_of_a_code(gain: int, lsb_uv: float) -> None:
    chip = chip_with(pins(0.2, 0, 0, 0))
    assert converted(chip, START & ~0x0E00 | gain << 9) == round(0.2e6 / lsb_uv)


def test_clips_at_its_end_codes() -> None:
    beyond = chip_with(pins(0.3, 0.0, 0, 0))
    differential = START & ~0x7E00 | 5 << 9  # AIN0-AIN1, +-0.256 V
    assert converted(beyond, differential) == 0x7FFF
    below = chip_with(pins(0.0, 0.3, 0, 0))
    assert converted(below, differential) == -0x8000


def test_inputs_are_held_near_the_rails_whatever_the_range() -> None:
    """3.6 V needs a 5 V supply or a divider."""
    chip = chip_with(pins(9.0, -9.0, 0, 0), Tolerance(noise_factor=0, supply_v=3.3))
    six_volts = START & ~0x0E00
    assert converted(chip, six_volts) * 187.5e-6 == pytest.approx(3.6, abs=2e-4)
    assert converted(chip, six_volts | AIN1, 5.0) * 187.5e-6 == pytest.approx(-0.3, abs=2e-4)


def test_gain_and_offset_errors() -> None:
    chip = chip_with(pins(2, 0, 0, 0), Tolerance(gain_error=0.0015, offset_lsb=3, noise_factor=0))
    assert converted(chip, START) == 16000 * 1.0015 + 3


def test_the_sample_is_the_mean_around_the_middle_of_the_conversion() -> None:
    seen: list[tuple[float, float]] = []

    def analog(_pin: int, middle_s: float, span_s: float) -> float:
        seen.append((middle_s, span_s))
        return 0.0

    converted(chip_with(analog), START, at_s=7.0)
    middle_s = 7.0 + POWER_UP_S + PERIOD_S / 2
    assert len(seen) == 1
    assert seen[0] == pytest.approx((middle_s, PERIOD_S))


@pytest.mark.parametrize(("gain", "least", "most"), [(1, 0.4, 0.8), (5, 1.5, 2.5)])
def test_noise_by_range_and_the_same_for_the_same_seed(
    gain: int, least: float, most: float
) -> None:
    def codes() -> list[int]:
        chip = ADS1115(pins(0.1, 0, 0, 0), Random("noise"))
        config = START & ~0x0E00 | gain << 9
        return [converted(chip, config, at_s=2.0 * k) for k in range(400)]

    assert least < statistics.stdev(codes()) < most
    assert codes() == codes()


# --- comparator

COMPARED = START & ~0x0003  # asserts after one conversion


class Ramp:
    """Volts at AIN0 as a test sets them."""

    volts = 0.0

    def __call__(self, pin: int, _middle_s: float, _span_s: float) -> float:
        return self.volts if pin == 0 else 0.0


def levels(config: int, volts: list[float], low: float = 1.0, high: float = 2.0) -> list[bool]:
    """ALERT after each conversion, with thresholds in volts on +-4.096 V."""
    ramp = Ramp()
    chip = chip_with(ramp)
    write(chip, LO_THRESH, int(low * 8000), 0.0)
    write(chip, HI_THRESH, int(high * 8000), 0.0)
    seen = []
    for k, ramp.volts in enumerate(volts):
        write(chip, CONFIG, config, 1.0 + k)
        chip.catch_up(1.5 + k)
        seen.append(chip.alert_level)
    return seen


def test_traditional_comparator_has_hysteresis() -> None:
    assert levels(COMPARED, [1.5, 2.1, 1.5, 0.9, 1.5]) == [True, False, False, True, True]


def test_window_comparator_asserts_on_both_sides() -> None:
    assert levels(COMPARED | 0x10, [1.5, 2.1, 1.5, 0.9, 1.5]) == [True, False, True, False, True]


@pytest.mark.parametrize(("queue_code", "queue"), [(0, 1), (1, 2), (2, 4)])
def test_comparator_queue_counts_conversions_in_a_row(queue_code: int, queue: int) -> None:
    seen = levels(COMPARED | queue_code, [2.1, 1.5, *[2.1] * 5])
    first = 0 if queue == 1 else 2 + queue - 1
    assert seen.index(False) == first


def test_comparator_polarity_and_off() -> None:
    assert levels(COMPARED | 0x08, [1.5, 2.1]) == [False, True]
    assert levels(COMPARED | 0x03, [2.1, 2.1]) == [True, True]


def test_a_latched_alert_lasts_until_the_result_is_read() -> None:
    """Reading clears the latch, so a latch that matters belongs outside the chip."""
    ramp = Ramp()
    chip = chip_with(ramp)
    write(chip, LO_THRESH, 8000, 0.0)
    write(chip, HI_THRESH, 16000, 0.0)
    ramp.volts = 2.1
    write(chip, CONFIG, COMPARED | 0x04, 3.0)
    chip.catch_up(3.5)
    ramp.volts = 0.5
    write(chip, CONFIG, COMPARED | 0x04, 4.0)
    chip.catch_up(4.5)
    assert chip.alert_level is False
    read(chip, CONVERSION, 4.6)
    assert chip.alert_level is True


def test_alert_is_heard_of_when_it_moves_each_time_once() -> None:
    """At the end of the conversion, however late somebody makes the chip catch up."""
    ramp, heard = Ramp(), list[tuple[bool, float]]()
    chip = chip_with(ramp)
    chip.on_alert = lambda level, at_s: heard.append((level, at_s))
    write(chip, LO_THRESH, 8000, 0.0)
    write(chip, HI_THRESH, 16000, 0.0)
    ramp.volts = 2.1
    write(chip, CONFIG, COMPARED & ~0x0100, 1.0)  # continuous
    chip.catch_up(5.0)
    assert heard == [(False, pytest.approx(1.0 + PERIOD_S, abs=50e-6))]
    write(chip, CONFIG, COMPARED & ~0x0100 | 0x08, 6.0)  # active high
    assert heard[1:] == [(True, 6.0)]
    chip.reset(7.0)
    assert len(heard) == 2
    assert chip.alert_level is True


def test_conversion_ready_output() -> None:
    chip = chip_with(pins(1, 1, 1, 1))
    write(chip, LO_THRESH, 0x0000, 0.0)
    write(chip, HI_THRESH, 0x8000, 0.0)
    write(chip, CONFIG, COMPARED, 0.0)
    assert chip.alert_level is True
    chip.catch_up(PERIOD_S * 1.1)
    assert chip.alert_level is False


# --- faults


def test_frozen_chip_ends_conversions_with_the_old_result() -> None:
    ramp = Ramp()
    chip = chip_with(ramp)
    ramp.volts = 1.0
    assert converted(chip, START) == 8000
    chip.trouble.frozen = True
    ramp.volts = 2.0
    assert converted(chip, START, at_s=2.0) == 8000
    assert chip.conversions == 2
    chip.trouble.frozen = False
    assert converted(chip, START, at_s=4.0) == 16000


def test_slow_chip() -> None:
    chip = chip_with(pins(1, 1, 1, 1))
    chip.trouble.slow_factor = 3.0
    write(chip, CONFIG, START, 0.0)
    assert not read(chip, CONFIG, PERIOD_S * 2.9) & 0x8000
    assert read(chip, CONFIG, PERIOD_S * 3.1) & 0x8000


@pytest.mark.parametrize(("name", "code"), [("zero_every", 0), ("full_scale_every", 0x7FFF)])
def test_isolated_wrong_codes(name: str, code: int) -> None:
    chip = chip_with(pins(1, 1, 1, 1))
    setattr(chip.trouble, name, 3)
    codes = [converted(chip, START, at_s=2.0 * k) for k in range(6)]
    assert codes == [8000, 8000, code, 8000, 8000, code]
