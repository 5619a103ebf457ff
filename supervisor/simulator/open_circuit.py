"""Open-circuit voltage of a cell by its state of charge, for all cells at once."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class OpenCircuitCurve:
    """Monotone cubic through the points (Fritsch and Carlson); straight on at both ends.

    Above full it goes on as steeply as it arrives there: overcharge. Each piece is evaluated
    itself, after a search for it: nothing is tabulated, so nothing is lost.
    """

    def __init__(self, points: Sequence[tuple[float, float]]) -> None:
        socs, volts = [soc for soc, _ in points], [v for _, v in points]
        slopes = _monotone_slopes(socs, volts)
        pieces = [
            (volts[0], slopes[0], 0.0, 0.0),
            *_cubics(socs, volts, slopes),
            (volts[-1], slopes[-1], 0.0, 0.0),
        ]
        self._knots = np.array(socs)
        self._bases = np.array([socs[0], *socs])
        self._pieces = np.array(pieces).T

    def at(self, socs: Floats) -> tuple[Floats, Floats]:
        """Volts, and volts per unit of state of charge."""
        piece = self._knots.searchsorted(socs, side="right")
        x = socs - self._bases[piece]
        volts, slope, square, cube = self._pieces[:, piece]
        cubed = cube * x
        return (
            volts + x * (slope + x * (square + cubed)),
            slope + x * (2 * square + 3 * cubed),
        )


def _cubics(
    socs: list[float], volts: list[float], slopes: list[float]
) -> list[tuple[float, float, float, float]]:
    cubics = []
    for (x0, x1), (y0, y1), (m0, m1) in zip(
        pairwise(socs), pairwise(volts), pairwise(slopes), strict=True
    ):
        width = x1 - x0
        secant = (y1 - y0) / width
        square = (3 * secant - 2 * m0 - m1) / width
        cubics.append((y0, m0, square, (m0 + m1 - 2 * secant) / width**2))
    return cubics


def _monotone_slopes(x: list[float], y: list[float]) -> list[float]:
    """Slopes at the points: weighted harmonic means inside, one-sided parabolas at the ends."""
    widths = [b - a for a, b in pairwise(x)]
    secants = [(b - a) / w for (a, b), w in zip(pairwise(y), widths, strict=True)]
    inner = [
        3 * (w0 + w1) / ((2 * w1 + w0) / d0 + (w1 + 2 * w0) / d1)
        for (w0, w1), (d0, d1) in zip(pairwise(widths), pairwise(secants), strict=True)
    ]
    return [
        _end_slope(widths[0], widths[1], secants[0], secants[1]),
        *inner,
        _end_slope(widths[-1], widths[-2], secants[-1], secants[-2]),
    ]


def _end_slope(w0: float, w1: float, d0: float, d1: float) -> float:
    slope = ((2 * w0 + w1) * d0 - w0 * d1) / (w0 + w1)
    return min(max(slope, 0.0), 3 * d0)
