"""One broken invariant."""

from dataclasses import dataclass
from typing import Literal

About = Literal[
    "lead", "voltage", "current", "stage", "temperature", "coil", "latch", "rule", "trip", "run"
]

TITLES = {
    "a": "a cell above never_above_volts",
    "b": "current into freezing cells",
    "c": "the supply hotter than it bears",
    "d": "the coil on without a fresh good reading",
    "e": "not open within the printed response",
    "f": "a clean run tripped",
    "g": "closed after a trip without reset and close",
    "h": "closed without a deliberate close",
    "i": "a power cut would not be found",
    "j": "closed while a rule was not clear",
    "k": "closed after the end of the charge without open and close",
    "l": "other settings in force in the midst of a charge",
    "x": "the run ended by an error",
}


@dataclass(frozen=True, slots=True)
class Violation:
    """``invariant`` is a key of TITLES; ``about`` says which truth it is about."""

    invariant: str
    about: About
    at_s: float
    detail: str

    @property
    def text(self) -> str:
        title = TITLES[self.invariant]
        return f"invariant {self.invariant} ({title}) at {self.at_s:.3f} s: {self.detail}"
