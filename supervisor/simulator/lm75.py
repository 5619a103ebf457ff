"""A temperature chip of the LM75 class down to its registers, after the data sheets (memory)."""

import math
from collections.abc import Callable

TEMPERATURE, CONFIGURATION, HYSTERESIS, LIMIT = range(4)
HYSTERESIS_RESET, LIMIT_RESET = 0x4B00, 0x5000  # 75 and 80 degrees
SHUT_DOWN = 0x01
LIMIT_BITS = 0xFF80
CONVERSION_S = 0.1

# True temperature at a time (seconds), in degrees Celsius.
Truth = Callable[[float], float]


class LM75Chip:
    """Registers by ``write`` and ``read``, time by the ``at_s`` of each call.

    ``bits`` is its resolution, 9 to 12, left-justified in the register's 16.
    """

    def __init__(self, truth: Truth, bits: int = 11) -> None:
        self._truth = truth
        self._bits = bits
        self._power_up(float("-inf"))

    def reset(self, at_s: float) -> None:
        """Power-on or brown-out: defaults; 0 degrees until the first conversion has ended."""
        self._power_up(at_s)

    def _power_up(self, at_s: float) -> None:
        self._pointer = TEMPERATURE
        self._configuration = 0
        self._limits = {HYSTERESIS: HYSTERESIS_RESET, LIMIT: LIMIT_RESET}
        self._on_since_s = at_s
        self._stands_still: int | None = None

    def write(self, data: bytes, at_s: float) -> None:
        """Pointer byte, then the register's bytes; an incomplete word changes nothing."""
        if data:
            self._pointer = data[0] & 0x03
        if self._pointer == CONFIGURATION and len(data) >= 2:
            self._configure(data[1], at_s)
        elif self._pointer in self._limits and len(data) >= 3:
            self._limits[self._pointer] = (data[1] << 8 | data[2]) & LIMIT_BITS

    def read(self, length: int, at_s: float) -> bytes:
        if self._pointer == CONFIGURATION:
            return bytes([self._configuration] * length)
        word = self._limits.get(self._pointer, self._temperature(at_s))
        return word.to_bytes(2, "big")[:length].ljust(length, b"\xff")

    def _configure(self, value: int, at_s: float) -> None:
        """Shut down, it goes on showing what it converted last."""
        self._stands_still = self._temperature(at_s) if value & SHUT_DOWN else None
        self._configuration = value

    def _temperature(self, at_s: float) -> int:
        if self._stands_still is not None:
            return self._stands_still
        if at_s < self._on_since_s + CONVERSION_S:
            return 0
        step = 2.0 ** (8 - self._bits)
        code = math.floor(self._truth(at_s) / step + 0.5)
        largest = (1 << self._bits - 1) - 1
        code = min(max(code, -largest - 1), largest)
        return (code << 16 - self._bits) & 0xFFFF
