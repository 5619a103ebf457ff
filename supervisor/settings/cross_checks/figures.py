"""Figures that a remedy proposes: rounded to the side on which they are right."""

from math import ceil, floor, log10

DIGITS = 3
FLOATS = 1e-9  # what a division may be off by, as a share


def down(value: float) -> str:
    """Three digits of a positive number, no more than it is."""
    step = _step(value)
    return f"{floor(value / step * (1 + FLOATS)) * step:.6g}"


def up(value: float) -> str:
    """Three digits of a positive number, no less than it is."""
    step = _step(value)
    return f"{ceil(value / step * (1 - FLOATS)) * step:.6g}"


def well_below(top: float, bottom: float, by: float) -> str | None:
    """So far below the top or, where there is less room, half way; None where there is none."""
    room = top - bottom
    if room < 0.002:
        return None
    return f"{top - min(by, room / 2):.3f}"


def _step(value: float) -> float:
    return float(10.0 ** (floor(log10(value)) - DIGITS + 1))
