"""What a supply gives at one moment: its mean, and what rides on it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Output:
    """Current into the bank, and what it costs the supply. All zero: it gives nothing."""

    current_a: float = 0.0
    """Mean over a period of the ripple; negative: back through a failed rectifier."""
    ripple_a: float = 0.0
    """Amplitude of the ripple's fundamental, twice mains."""
    peak_a: float = 0.0
    """Highest instantaneous value; what the cells see for a moment."""
    winding_rms_a: float = 0.0
    """Of each half of the secondary winding: heats the transformer."""
    rectifier_w: float = 0.0
    """Lost in the diodes: heats their sink."""


NOTHING = Output()
