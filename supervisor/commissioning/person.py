"""Whoever does the steps: at a terminal, by a file of answers, or in a simulation."""

from typing import Literal, Protocol

from supervisor.commissioning.deeds import Deed, DidIt, MeterReads
from supervisor.measurement.meter import Meter

MeterKind = Literal["volts", "millivolts", "amperes"]


class Left(Exception):
    """The person has left; the steps that are done are on record."""


class Unanswered(Exception):
    """A question has no answer, or one that is none; what, and what to do about it, in words."""


class Person(Protocol):
    """Every method may raise Left, or Unanswered."""

    name: str
    """Who goes on record."""

    def tells(self, text: str) -> None:
        """For reading only."""
        ...

    def does(self, deed: Deed) -> None:
        """Asks for it; returns when it is done. A ``Raise`` has only begun by then."""
        ...

    def reads(self, question: MeterReads) -> float: ...

    def saw(self, question: DidIt) -> bool: ...

    def meter(self, kind: MeterKind) -> Meter:
        """The reference on this range, with the accuracy that its manual states; in V or A."""
        ...

    def is_shown(self, text: str) -> None:
        """What is measured, again and again while something is waited for; replaces the last."""
        ...


CLOSES = "The contactor closes now: hands and tools away from it."
