"""An ADS1115 down to its registers: 16-bit delta-sigma converter with multiplexer and comparator.

Register layout, reset values and timing after the data sheet (Texas Instruments SBAS444).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

CONVERSION, CONFIG, LO_THRESH, HI_THRESH = range(4)

CONFIG_RESET = 0x8583
LO_THRESH_RESET = 0x8000
HI_THRESH_RESET = 0x7FFF

OS = 0x8000
SINGLE_SHOT = 0x0100
COMPARE_WINDOW = 0x0010
ALERT_ACTIVE_HIGH = 0x0008
ALERT_LATCHES = 0x0004
COMPARATOR_OFF = 0x0003

LARGEST, SMALLEST = 0x7FFF, -0x8000
COARSE_STEP = 16  # of a 12-bit part with the same registers
FOREIGN_BITS = 0x1F00  # what a chip with a small configuration keeps of ours
NEVER = math.inf
POWER_UP_S = 25e-6
INPUT_BEYOND_RAIL_V = 0.3

INPUTS = ((0, 1), (0, 3), (1, 3), (2, 3), (0, None), (1, None), (2, None), (3, None))
FULL_SCALE_V = (6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256)
SAMPLES_PER_S = (8, 16, 32, 64, 128, 250, 475, 860)
COMPARATOR_QUEUE = (1, 2, 4)

# Noise at 860 SPS in LSB, on the pessimistic side (memory); it falls with the root of the rate.
NOISE_LSB_RMS = (0.5, 0.5, 0.5, 0.7, 1.0, 2.0, 2.0, 2.0)

# Mean volts at a pin (0 to 3) over a span: pin, middle of the span, its length (seconds).
Analog = Callable[[int, float, float], float]
# Hears of the ALERT pin: its new level, and when.
AlertListener = Callable[[bool, float], None]


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How one specimen differs from the ideal chip."""

    clock_error: float = 0.0  # of the conversion time; the data sheet allows +-0.10
    gain_error: float = 0.0
    offset_lsb: float = 0.0
    noise_factor: float = 1.0
    supply_v: float = 5.0


@dataclass(slots=True)
class ChipTrouble:
    """What is wrong with the chip; the defaults are a healthy one."""

    frozen: bool = False  # the conversion register never changes again
    slow_factor: float = 1.0
    zero_every: int | None = None  # every Nth conversion ends as 0000h
    full_scale_every: int | None = None  # every Nth conversion ends as 7FFFh
    reset_every: int | None = None  # every Nth conversion is cut short by a brown-out
    coarse: bool = False  # a 12-bit part: the last four bits are zero
    foreign: bool = False  # another chip: keeps only FOREIGN_BITS of a configuration


@dataclass(slots=True)
class _Running:
    """A conversion under way; it keeps the settings it was started with."""

    config: int
    middle_s: float
    end_s: float
    span_s: float
    input_v: float | None = None


class ADS1115:
    """Registers by ``write`` and ``read``, time by the ``at_s`` of each call."""

    def __init__(
        self, analog: Analog, rng: Random, tolerance: Tolerance = Tolerance(), at_s: float = 0.0
    ) -> None:
        self._analog = analog
        self._rng = rng
        self._tolerance = tolerance
        self.trouble = ChipTrouble()
        self.conversions = 0
        self.due_s = NEVER
        """When it does something by itself next: takes its sample, or ends the conversion."""
        self.on_alert: AlertListener = lambda _level, _at_s: None
        self._told_level = True
        self.reset(at_s)

    def reset(self, at_s: float) -> None:
        """Power-on, brown-out or general call: defaults; a running conversion is lost."""
        self._pointer = CONVERSION
        self._registers = [0, CONFIG_RESET, LO_THRESH_RESET, HI_THRESH_RESET]
        self._running: _Running | None = None
        self.due_s = NEVER
        self._beyond_in_a_row = 0
        self._alert = False
        self._tell_alert(at_s)

    def write(self, data: bytes, at_s: float) -> None:
        """Pointer byte, then two register bytes; an incomplete word changes nothing."""
        self.catch_up(at_s)
        if data:
            self._pointer = data[0] & 0x03
        if len(data) >= 3 and self._pointer != CONVERSION:
            word = data[1] << 8 | data[2]
            self._registers[self._pointer] = word & FOREIGN_BITS if self.trouble.foreign else word
            if self._pointer == CONFIG:
                self._configured(at_s)
            self._tell_alert(at_s)

    def read(self, length: int, at_s: float) -> bytes:
        self.catch_up(at_s)
        word = self._registers[self._pointer]
        if self._pointer == CONFIG:
            word = word & ~OS if self._running else word | OS
        elif self._pointer == CONVERSION:
            self._latch_read()
            self._tell_alert(at_s)
        return word.to_bytes(2, "big")[:length].ljust(length, b"\xff")

    @property
    def config(self) -> int:
        """The configuration register as it was written."""
        return self._registers[CONFIG]

    @property
    def alert_level(self) -> bool:
        """Level of the ALERT/RDY pin with its pull-up."""
        config = self._registers[CONFIG]
        if config & COMPARATOR_OFF == COMPARATOR_OFF:
            return True
        active = not self._running if self._tells_ready else self._alert
        return active is bool(config & ALERT_ACTIVE_HIGH)

    def catch_up(self, at_s: float) -> None:
        """Take the sample and end the conversions that are due by then."""
        while at_s >= self.due_s and (running := self._running) is not None:
            if running.input_v is None:
                running.input_v = self._input_v(running)
                self.due_s = running.end_s
            else:
                self._finish(running)
                self._go_on(running.end_s, at_s)
                self._tell_alert(running.end_s)

    # --- conversions

    def _configured(self, at_s: float) -> None:
        """A running conversion ends as it began; what is new counts from the next one on."""
        if self._running is None and (
            not self._registers[CONFIG] & SINGLE_SHOT or self._registers[CONFIG] & OS
        ):
            self._start(at_s + POWER_UP_S)

    def _go_on(self, ended_s: float, at_s: float) -> None:
        self._running = None
        self.due_s = NEVER
        if not self._registers[CONFIG] & SINGLE_SHOT:
            self._start(self._skip_unseen(ended_s, at_s))

    def _skip_unseen(self, ended_s: float, at_s: float) -> float:
        """Nobody can have seen the results before the last but one, unless compared."""
        if self._registers[CONFIG] & COMPARATOR_OFF != COMPARATOR_OFF:
            return ended_s
        period_s = self._period_s(self._registers[CONFIG])
        return ended_s + max(0, math.floor((at_s - ended_s) / period_s) - 2) * period_s

    def _start(self, at_s: float) -> None:
        config = self._registers[CONFIG]
        period_s = self._period_s(config)
        self._running = _Running(config, at_s + period_s / 2, at_s + period_s, period_s)
        self.due_s = self._running.middle_s

    def _period_s(self, config: int) -> float:
        nominal_s = 1 / SAMPLES_PER_S[config >> 5 & 7]
        return nominal_s * (1 + self._tolerance.clock_error) * self.trouble.slow_factor

    def _finish(self, running: _Running) -> None:
        self.conversions += 1
        if _every(self.trouble.reset_every, self.conversions):
            self.reset(running.end_s)
        elif not self.trouble.frozen:
            code = self._code(running)
            self._registers[CONVERSION] = code & 0xFFFF
            self._compare(code)

    def _input_v(self, running: _Running) -> float:
        positive, negative = INPUTS[running.config >> 12 & 7]
        volts = self._pin_v(positive, running)
        return volts if negative is None else volts - self._pin_v(negative, running)

    def _pin_v(self, pin: int, running: _Running) -> float:
        """The protective diodes hold a pin close to the rails."""
        volts = self._analog(pin, running.middle_s, running.span_s)
        highest_v = self._tolerance.supply_v + INPUT_BEYOND_RAIL_V
        return min(max(volts, -INPUT_BEYOND_RAIL_V), highest_v)

    def _code(self, running: _Running) -> int:
        if _every(self.trouble.zero_every, self.conversions):
            return 0
        if _every(self.trouble.full_scale_every, self.conversions):
            return LARGEST
        assert running.input_v is not None
        tolerance = self._tolerance
        scale = running.config >> 9 & 7
        lsb = running.input_v * (1 + tolerance.gain_error) / FULL_SCALE_V[scale] * 0x8000
        noise = NOISE_LSB_RMS[scale] * math.sqrt(SAMPLES_PER_S[running.config >> 5 & 7] / 860)
        lsb += tolerance.offset_lsb + self._rng.gauss(0, noise * tolerance.noise_factor)
        if self.trouble.coarse:
            lsb = round(lsb / COARSE_STEP) * COARSE_STEP
        return min(max(round(lsb), SMALLEST), LARGEST)

    # --- comparator

    @property
    def _tells_ready(self) -> bool:
        return bool(self._registers[HI_THRESH] & 0x8000 and not self._registers[LO_THRESH] & 0x8000)

    def _compare(self, code: int) -> None:
        config = self._registers[CONFIG]
        if config & COMPARATOR_OFF == COMPARATOR_OFF:
            return
        low, high = _signed(self._registers[LO_THRESH]), _signed(self._registers[HI_THRESH])
        windowed = bool(config & COMPARE_WINDOW)
        beyond = code > high or (windowed and code < low)
        self._beyond_in_a_row = self._beyond_in_a_row + 1 if beyond else 0
        if self._beyond_in_a_row >= COMPARATOR_QUEUE[config & COMPARATOR_OFF]:
            self._alert = True
        elif not config & ALERT_LATCHES and (code < low or (windowed and not beyond)):
            self._alert = False

    def _tell_alert(self, at_s: float) -> None:
        level = self.alert_level
        if level is not self._told_level:
            self._told_level = level
            self.on_alert(level, at_s)

    def _latch_read(self) -> None:
        if self._alert and self._registers[CONFIG] & ALERT_LATCHES:
            self._alert = False
            self._beyond_in_a_row = 0


def _signed(word: int) -> int:
    return word - 0x10000 if word & 0x8000 else word


def _every(count: int | None, number: int) -> bool:
    return count is not None and number % count == 0
