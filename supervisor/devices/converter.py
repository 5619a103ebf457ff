"""One ADS1115 on top of the Adafruit driver, without its endless wait, with proof of each result.

A conversion is believed only when the configuration read after it is, bit for bit, the one
written before it: the inputs, the range and the rate are then those asked for, and the chip was
not reset in between. What is read instead says what went wrong.
"""

from adafruit_ads1x15.ads1115 import ADS1115

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

# Data sheet: the chip's own clock is +-10 %; 5 % more for the start-up and ours.
WAIT_FACTOR = 1.15
EXTRA_LOOKS = 2


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
        self._period_s = WAIT_FACTOR / settings.samples_per_second
        self._written = 0
        self._started_at_s = 0.0
        self._may_be_converting = True  # for somebody who used the chip before us
        super().__init__(bus, data_rate=settings.samples_per_second, address=settings.address)

    def convert(self, inputs: Inputs, range_volts: float) -> tuple[int, float]:
        """One conversion: signed code, and when it was taken (monotonic seconds).

        Raises OSError (bus), NotReady, ConfigChanged (ChipReset, WrongChip).
        """
        self._refuse_while_converting()
        self._gain = DRIVER_GAIN[range_volts]  # the setter would write the register once more
        code: int = self.read(MULTIPLEXER[inputs])
        return code, self._started_at_s + self._period_s

    def _refuse_while_converting(self) -> None:
        """A start during a conversion is ignored by the chip: its result would be another input's.

        Only after a conversion that did not end as it should; else there is nothing to ask.
        """
        if self._may_be_converting:
            if not self._read_register(CONFIG) & NOT_CONVERTING:
                raise NotReady
            self._may_be_converting = False

    def _write_config(self, pin_config: int | None = None) -> None:
        self._may_be_converting = True
        super()._write_config(pin_config)
        self._written = self.buf[1] << 8 | self.buf[2]
        self._started_at_s = self._clock.now_s()

    def _conversion_complete(self) -> bool:
        for look in range(1 + EXTRA_LOOKS):
            self._clock.sleep_until(self._started_at_s + self._period_s * (1 + 0.5 * look))
            if self._config_as_written() & NOT_CONVERTING:
                self._may_be_converting = False
                return True
        raise NotReady

    def get_last_result(self, fast: bool = False) -> int:
        result: int = super().get_last_result(fast)
        self._config_as_written()
        return result

    def _config_as_written(self) -> int:
        """The configuration register. Raises ConfigChanged unless it is as written."""
        config: int = self._read_register(CONFIG)
        if not _same(config, self._written):
            raise self._mismatch(config)(f"wrote {self._written:04X}h, read {config:04X}h")
        self.is_proven = True
        return config

    def _mismatch(self, config: int) -> type[ConfigChanged]:
        if _same(config, CONFIG_AFTER_RESET):
            return ChipReset
        if self.is_proven or config == CONFIG_OF_A_BUS_HELD_LOW:
            return ConfigChanged
        return WrongChip


def _same(config: int, other: int) -> bool:
    return not (config ^ other) & ~NOT_CONVERTING
