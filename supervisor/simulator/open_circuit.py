"""Open-circuit voltage of a lithium iron phosphate cell by its state of charge."""

from bisect import bisect_right
from itertools import pairwise

# Published points of the open BPX LFP example set, 0.1 to 1.0.
PUBLISHED = (
    (0.1, 3.18817),
    (0.5, 3.27807),
    (0.9, 3.32179),
    (0.95, 3.32269),
    (0.98, 3.32350),
    (0.99, 3.33399),
    (1.0, 3.64856),
)
EMPTY = (0.0, 2.5)  # the usual lower limit of a data sheet (practice)


class OpenCircuitCurve:
    """Monotone cubic through the points (Fritsch and Carlson); straight on at both ends.

    Above full it goes on as steeply as it arrives there: overcharge.
    """

    def __init__(self, points: tuple[tuple[float, float], ...] = (EMPTY, *PUBLISHED)) -> None:
        self._socs = [soc for soc, _ in points]
        self._volts = [volts for _, volts in points]
        self._slopes = _monotone_slopes(self._socs, self._volts)

    def at(self, soc: float) -> tuple[float, float]:
        """Volts, and volts per unit of state of charge."""
        socs, volts, slopes = self._socs, self._volts, self._slopes
        if soc <= socs[0]:
            return volts[0] + slopes[0] * (soc - socs[0]), slopes[0]
        if soc >= socs[-1]:
            return volts[-1] + slopes[-1] * (soc - socs[-1]), slopes[-1]
        k = bisect_right(socs, soc) - 1
        width = socs[k + 1] - socs[k]
        secant = (volts[k + 1] - volts[k]) / width
        square = (3 * secant - 2 * slopes[k] - slopes[k + 1]) / width
        cube = (slopes[k] + slopes[k + 1] - 2 * secant) / width**2
        x = soc - socs[k]
        return (
            volts[k] + x * (slopes[k] + x * (square + x * cube)),
            slopes[k] + x * (2 * square + 3 * x * cube),
        )


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
