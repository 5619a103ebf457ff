"""The comparator of an ADS1115 that converts without end: what it is told, and what it says.

Every word written is read back at once, and is believed only when it is, bit for bit, the one
written. Registers and bits after the ADS1115 data sheet.
"""

from dataclasses import dataclass
from enum import IntEnum
from math import floor

from supervisor.devices.converter import CONFIG, MULTIPLEXER, NOT_CONVERTING
from supervisor.devices.protocols import I2CBus
from supervisor.settings.hardware import Converter, SecondLine

RANGE_CODES = {6.144: 0, 4.096: 1, 2.048: 2, 1.024: 3, 0.512: 4, 0.256: 5}
RATE_CODES = {250: 5, 475: 6, 860: 7}
# Converts continuously; traditional (hysteresis from HI to LO), active low. Not latching: reading
# the result would clear the chip's latch, and the result is to be read.
ALERT_AFTER_TWO = 0x0001
CODES_PER_RANGE = 0x8000
LARGEST = 0x7FFF


class Register(IntEnum):
    """The chip's pointer values."""

    CONVERSION = 0
    CONFIG = CONFIG
    LOW = 2
    HIGH = 3


class NotAsWritten(Exception):
    """A register does not hold what it was given."""


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Codes: ALERT goes low after two conversions above ``high``, high after one below ``low``."""

    low: int
    high: int


class Comparator:
    """One chip's registers, a transfer or two a call. All raise OSError (bus) and NotAsWritten."""

    def __init__(self, settings: SecondLine, converter: Converter) -> None:
        self._address = converter.address
        self._step_v = settings.range_volts / CODES_PER_RANGE * settings.gain
        self._configuration = (
            MULTIPLEXER[settings.inputs] << 12
            | RANGE_CODES[settings.range_volts] << 9
            | RATE_CODES[converter.samples_per_second] << 5
            | ALERT_AFTER_TWO
        )

    def thresholds(self, release_v: float, trip_v: float) -> Thresholds:
        """Rounded down, both to the safe side: a reading above ``trip_v`` is above ``high``, and
        one that is not below ``release_v`` is not below ``low``."""
        return Thresholds(self._code(release_v), self._code(trip_v))

    def configure(self, bus: I2CBus) -> None:
        """Two transfers; the chip converts and compares from now on."""
        self.write(bus, Register.CONFIG, self._configuration)

    def write(self, bus: I2CBus, register: Register, word: int) -> None:
        """Two transfers."""
        bus.writeto(self._address, bytes([register, *word.to_bytes(2, "big")]))
        self.prove(bus, register, word)

    def prove(self, bus: I2CBus, register: Register, word: int) -> None:
        """One transfer: the register holds the word."""
        found = self._read(bus, register)
        differing = found ^ word
        if register is Register.CONFIG:
            differing &= ~NOT_CONVERTING
        if differing:
            raise NotAsWritten(f"{register.name} reads {found:04X}h, not {word:04X}h")

    def prove_configuration(self, bus: I2CBus) -> None:
        """One transfer."""
        self.prove(bus, Register.CONFIG, self._configuration)

    def volts(self, bus: I2CBus) -> float:
        """The newest conversion, in volts of the cell. Two transfers: the configuration after it
        shows that it was one, and of these inputs."""
        word = self._read(bus, Register.CONVERSION)
        self.prove_configuration(bus)
        code = word - 0x10000 if word & 0x8000 else word
        return code * self._step_v

    def _read(self, bus: I2CBus, register: Register) -> int:
        answer = bytearray(2)
        bus.writeto_then_readfrom(self._address, bytes([register]), answer)
        return int.from_bytes(answer, "big")

    def _code(self, volts: float) -> int:
        return max(0, min(floor(volts / self._step_v), LARGEST))
