"""One temperature chip of the LM75 class on the I2C bus, read only.

A temperature is believed when the chip's other registers, read right after it, are those of such a
chip at work. So a wire held low, another chip at the address and a chip that was shut down give no
temperature, and nothing is ever written: whatever else sits there takes no harm.

Registers, their layout and power-on values after the data sheets of the class (memory).
"""

from dataclasses import dataclass

from supervisor.devices.protocols import I2CBus
from supervisor.readings import Quality

LENGTHS = (2, 1, 2, 2)  # bytes of temperature, configuration, hysteresis, limit: registers 0 to 3

KELVIN_PER_STEP = 0.0625  # 12 bits; a coarser chip leaves its lowest bits 0
UNUSED = 0x000F  # below 12 bits: another chip, or a word that was shifted on its way
NINE_BITS = 0xFF80  # of hysteresis and limit; some chips ignore the rest

SHUT_DOWN = 0x01  # the temperature stands still
ONE_SHOT = 0x80  # reads 0 while the chip converts by itself

LOWEST_C, HIGHEST_C = -55.0, 125.0


@dataclass(frozen=True, slots=True)
class Registers:
    """All that the chip says, read within one turn."""

    temperature: int
    configuration: int
    hysteresis: int
    limit: int


class LM75:
    """Reads one register a call; after the last one all of them are known."""

    def __init__(self, address: int) -> None:
        self._address = address
        self._words: list[int] = []

    def read_on(self, bus: I2CBus) -> Registers | None:
        """The next register, in one transfer; all once the last is read, None until then.

        Raises OSError; the turn then begins anew.
        """
        pointer = len(self._words)
        answer = bytearray(LENGTHS[pointer])
        try:
            bus.writeto_then_readfrom(self._address, bytes([pointer]), answer)
        except OSError:
            self._words.clear()
            raise
        self._words.append(int.from_bytes(answer, "big"))
        if pointer + 1 < len(LENGTHS):
            return None
        registers = Registers(*self._words)
        self._words.clear()
        return registers


def celsius_of_registers(registers: Registers) -> tuple[float | None, Quality]:
    """The temperature in degrees Celsius, or the reason why there is none."""
    if _wire_stands_still(registers):
        return None, Quality.NO_ANSWER
    if not _is_of_the_class(registers):
        return None, Quality.WRONG_CHIP
    if registers.configuration & SHUT_DOWN:
        return None, Quality.CONFIG_CHANGED
    celsius = _signed(registers.temperature) / 16 * KELVIN_PER_STEP
    if not LOWEST_C <= celsius <= HIGHEST_C:
        return None, Quality.OUT_OF_RANGE
    return celsius, Quality.GOOD


def _wire_stands_still(registers: Registers) -> bool:
    """Held low, or nobody there to pull it: the same bit all the time."""
    words = (registers.temperature, registers.hysteresis, registers.limit)
    return set(words) in ({0x0000}, {0xFFFF})


def _is_of_the_class(registers: Registers) -> bool:
    """The limit must lie above its hysteresis, both within what such a chip can measure."""
    hysteresis_c, limit_c = _coarse_c(registers.hysteresis), _coarse_c(registers.limit)
    return (
        not registers.temperature & UNUSED
        and not registers.configuration & ONE_SHOT
        and LOWEST_C <= hysteresis_c < limit_c <= HIGHEST_C
    )


def _coarse_c(word: int) -> float:
    return _signed(word & NINE_BITS) / 16 * KELVIN_PER_STEP


def _signed(word: int) -> int:
    return word - 0x10000 if word & 0x8000 else word
