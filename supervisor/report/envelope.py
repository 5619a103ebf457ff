"""Fewer points for a plot, and no peak lost: lowest and highest of every bin, and its mean."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from supervisor.report.series import Band, Floats

MOST_POINTS = 1200


@dataclass(frozen=True, slots=True)
class Envelope:
    """Points to draw; nan where the line is to break."""

    at_s: Floats
    band: Band


def envelope(
    at_s: Floats, band: Band, gap_before: NDArray[np.bool_], most: int = MOST_POINTS
) -> Envelope:
    """Of rows in the order of time."""
    known = ~np.isnan(band.mean)
    breaks = gap_before.copy()
    breaks[1:] |= ~known[:-1] & known[1:]  # nothing good was read in between
    breaks = breaks[known]
    at_s, band = at_s[known], band[known]
    starts = _bins(at_s, most)
    if len(starts) == 0:
        return Envelope(at_s, band)
    counts = np.diff(np.append(starts, len(at_s)))
    thin = Envelope(
        np.add.reduceat(at_s, starts) / counts,
        Band(
            np.add.reduceat(band.mean, starts) / counts,
            np.minimum.reduceat(band.low, starts),
            np.maximum.reduceat(band.high, starts),
        ),
    )
    return _broken(thin, np.flatnonzero(np.logical_or.reduceat(breaks, starts)))


def _bins(at_s: Floats, most: int) -> NDArray[np.intp]:
    """Where each bin that holds something begins; equal lengths of time."""
    if len(at_s) <= most:
        return np.arange(len(at_s))
    width_s = (at_s[-1] - at_s[0]) / most
    number = np.minimum((at_s - at_s[0]) // width_s, most - 1)
    return np.concatenate(([0], np.flatnonzero(np.diff(number)) + 1))


def _broken(thin: Envelope, where: NDArray[np.intp]) -> Envelope:
    def parted(values: Floats) -> Floats:
        return np.insert(values, where, np.nan)

    band = Band(parted(thin.band.mean), parted(thin.band.low), parted(thin.band.high))
    return Envelope(np.insert(thin.at_s, where, thin.at_s[where]), band)
