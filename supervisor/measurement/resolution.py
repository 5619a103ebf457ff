"""A 12-bit part sold as a 16-bit one gives only multiples of 16: its last four bits are zero."""

from collections import deque

LAST_BITS = 0xF
# Of so many codes a 16-bit chip with noise gives about 30 that are no multiples of 16, and a 12-bit
# one none but for a disturbed word. An input that stands still to the code is for FrozenWatch.
ENOUGH_CODES = 32
FEWEST_FINE = 3


class Resolution:
    """One converter's codes as they left it, of all its channels and ranges.

    ``FEWEST_FINE`` codes that are no multiples of 16, within ``ENOUGH_CODES``, prove the chip for
    good; after ``ENOUGH_CODES`` without that it is too coarse, until it is proven.
    """

    __slots__ = ("_fine", "_is_proven")

    def __init__(self) -> None:
        self._is_proven = False
        self._fine: deque[bool] = deque(maxlen=ENOUGH_CODES)

    def is_too_coarse(self, code: int) -> bool:
        """Take a believable raw code; whether the chip lacks its last bits, for all one can see."""
        if self._is_proven:
            return False
        self._fine.append(bool(code & LAST_BITS))
        self._is_proven = sum(self._fine) >= FEWEST_FINE
        return not self._is_proven and len(self._fine) == ENOUGH_CODES
