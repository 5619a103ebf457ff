"""How long one chip takes for a conversion, learned: its clock is its own, and steady.

The first look for the end comes when it was found lately, a little sooner each time; one that
comes too soon is put off. What is learned decides when to look, never what is believed.
"""

from collections.abc import Iterator

# Data sheet: the chip's own clock is +-10 %; 5 % more for the start-up and ours.
SHORTEST, LONGEST = 0.85, 1.15
SOONER = 0.0005  # of the nominal time, after a first look that found the end
LATER = 0.01  # and after one that did not: one look in twenty
LOOK_AGAIN, MOST_AGAIN = 0.01, 3  # and then only when all chips have ended
LAST_LOOKS = (1.5, 2.0)  # of the longest time: it is out of order, and yet may end


class ConversionTime:
    """In shares of the nominal time; begins with the longest that the data sheet allows."""

    def __init__(self, samples_per_second: int) -> None:
        self._nominal_s = 1 / samples_per_second
        self._share = LONGEST

    def looks_s(self) -> Iterator[float]:
        """When to look, in seconds from the start; whoever has found the end asks no further."""
        first = self._share
        yield first * self._nominal_s
        self._share = min(first + LATER, LONGEST)
        for number in range(1, MOST_AGAIN + 1):
            yield min(first + number * LOOK_AGAIN, LONGEST) * self._nominal_s
        yield LONGEST * self._nominal_s
        self._share = LONGEST
        for share in LAST_LOOKS:
            yield share * LONGEST * self._nominal_s

    def was_enough(self) -> None:
        """The first look found the end."""
        self._share = max(self._share - SOONER, SHORTEST)
