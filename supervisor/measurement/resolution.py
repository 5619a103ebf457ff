"""A 12-bit part sold as a 16-bit one gives only multiples of 16: its last four bits are zero."""

LAST_BITS = 0xF
# A 16-bit chip gives so many multiples of 16 in a row by chance with 16^-32, its noise given; an
# input that stands still to the code, in both ranges, is for FrozenWatch.
ENOUGH_CODES = 32


class Resolution:
    """One converter's codes as they left it, of all its channels and ranges.

    The first code that is no multiple of 16 proves the chip for good; after ``ENOUGH_CODES``
    without one it is too coarse, until one comes.
    """

    __slots__ = ("_coarse_codes", "_is_proven")

    def __init__(self) -> None:
        self._is_proven = False
        self._coarse_codes = 0

    def is_too_coarse(self, code: int) -> bool:
        """Take a believable raw code; whether the chip lacks its last bits, for all one can see."""
        if self._is_proven:
            return False
        if code & LAST_BITS:
            self._is_proven = True
            return False
        self._coarse_codes += 1
        return self._coarse_codes >= ENOUGH_CODES
