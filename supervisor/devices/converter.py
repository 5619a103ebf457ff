"""One ADS1115 on top of the Adafruit driver, without its endless wait, with proof of each result.

A conversion is believed only when the configuration read at its end is, bit for bit, the one
written before it, and says that it has ended: the inputs, the range and the rate are then those
asked for. A chip that is reset after that, or a wire that stands still, ends the result in zeros or
ones: after such a one the configuration is read once more, so that what gets through is wrong by 63
steps at most. What is read instead says what went wrong.

Writing the configuration leaves the chip's pointer on it, so it is read without being named again:
four messages a conversion, in three transfers (the Raspberry Pi's controller takes one read a
transfer, as its last message: drivers/i2c/busses/i2c-bcm2835.c). With fewer, either the end or the
inputs would be taken on trust.
"""

from adafruit_ads1x15.ads1115 import ADS1115

from supervisor.devices.conversion_time import ConversionTime
from supervisor.devices.protocols import Clock, I2CBus
from supervisor.readings import Quality
from supervisor.settings.hardware import Converter as ConverterSettings
from supervisor.settings.hardware import Inputs

# Configuration register, ADS1115 data sheet: bit 15 reads 1 when no conversion is running.
NOT_CONVERTING = 0x8000
CONFIG = 0x01
CONFIG_AFTER_RESET = 0x8583
CONFIG_OF_A_BUS_HELD_LOW = 0x0000  # no chip says so of itself

# Data sheet: multiplexer codes.
MULTIPLEXER: dict[Inputs, int] = {
    "0-1": 0, "0-3": 1, "1-3": 2, "2-3": 3, "0": 4, "1": 5, "2": 6, "3": 7,
}  # fmt: skip
DRIVER_GAIN = {6.144: 2 / 3, 4.096: 1, 2.048: 2, 1.024: 4, 0.512: 8, 0.256: 16}

LAST_BITS = 0x3F  # of a result


class NotReady(Exception):
    """The conversion had not ended long after its time."""


class ConfigChanged(Exception):
    """The configuration read back is not the one written: a bus fault, or one of those below."""

    quality = Quality.CONFIG_CHANGED


class ChipReset(ConfigChanged):
    """The configuration is the one after power-on: a brown-out between writing and reading."""

    quality = Quality.CHIP_RESET


class WrongChip(ConfigChanged):
    """It has never yet kept what was written: not the chip that is expected at this address."""

    quality = Quality.WRONG_CHIP


class Converter(ADS1115):
    """Single-shot conversions that end, or raise, within a known time.

    ``convert`` is the driver's own ``read`` with two of its steps replaced: waiting for the end
    of the conversion, and fetching the result. ``is_proven``: it has kept a configuration before.
    """

    def __init__(
        self,
        bus: I2CBus,
        settings: ConverterSettings,
        clock: Clock,
        *,
        is_proven: bool = False,
    ) -> None:
        """Probes the chip. Raises OSError or ValueError when it does not answer."""
        self._clock = clock
        self.is_proven = is_proven
        self._time = ConversionTime(settings.samples_per_second)
        self._written = 0
        self._started_at_s = self._ended_at_s = 0.0
        self._may_be_converting = True  # for somebody who used the chip before us
        super().__init__(bus, data_rate=settings.samples_per_second, address=settings.address)

    def convert(
        self, inputs: Inputs, range_volts: float, *, asks_first: bool = False
    ) -> tuple[int, float]:
        """One conversion: signed code, and when it was taken (monotonic seconds).

        ``asks_first``: whether the chip is as it was left. Raises OSError (bus), NotReady,
        ConfigChanged (ChipReset, WrongChip).
        """
        self._refuse_while_converting()
        if asks_first:
            self._refuse_what_others_left()
        self._gain = DRIVER_GAIN[range_volts]  # the setter would write the register once more
        code: int = self.read(MULTIPLEXER[inputs])
        if code & LAST_BITS in (0, LAST_BITS):
            self._prove(self._read_register(CONFIG))
        return code, self._ended_at_s

    def _refuse_while_converting(self) -> None:
        """A start during a conversion is ignored by the chip: its result would be another input's.

        Only after a conversion that did not end as it should; else there is nothing to ask.
        """
        if self._may_be_converting:
            if not self._read_register(CONFIG) & NOT_CONVERTING:
                raise NotReady
            self._may_be_converting = False

    def _refuse_what_others_left(self) -> None:
        """It was reset, or another program uses it, whose conversion may be taken for ours."""
        left, self._written = self._written, 0  # told once; the next one begins anew
        if not left:
            return
        config: int = self._read_register(CONFIG)
        if config != left | NOT_CONVERTING:
            self._may_be_converting = True
            raise self._mismatch(config)(f"left {left:04X}h, found {config:04X}h")
        self._written = left

    def _write_config(self, pin_config: int | None = None) -> None:
        self._may_be_converting = True
        super()._write_config(pin_config)
        self._written = self.buf[1] << 8 | self.buf[2]
        self._started_at_s = self._clock.now_s()

    def _conversion_complete(self) -> bool:
        for number, look_s in enumerate(self._time.looks_s()):
            self._ended_at_s = self._started_at_s + look_s
            self._clock.sleep_until(self._ended_at_s)
            if self._config_as_written() & NOT_CONVERTING:
                self._may_be_converting = False
                if number == 0:
                    self._time.was_enough()
                return True
        raise NotReady

    def _config_as_written(self) -> int:
        """The configuration register; of a chip that was reset, its pointer as well."""
        config: int = self._read_register(CONFIG, fast=True)
        if not _same(config, self._written):
            config = self._read_register(CONFIG)
        self._prove(config)
        return config

    def _prove(self, config: int) -> None:
        """Raises ConfigChanged unless it is as written."""
        written = self._written
        if not _same(config, written):
            self._written = 0  # how it was left is not known any more
            raise self._mismatch(config)(f"wrote {written:04X}h, read {config:04X}h")
        self.is_proven = True

    def _mismatch(self, config: int) -> type[ConfigChanged]:
        if _same(config, CONFIG_AFTER_RESET):
            return ChipReset
        if self.is_proven or config == CONFIG_OF_A_BUS_HELD_LOW:
            return ConfigChanged
        return WrongChip


def _same(config: int, other: int) -> bool:
    return not (config ^ other) & ~NOT_CONVERTING
