"""Rows of samples as plain numbers, taken one by one: of a week there are 600 000."""

from collections.abc import Iterable

import numpy as np

from supervisor.journal.reader import Sample
from supervisor.report.series import Floats

COLUMNS = 15
ROW = np.dtype((np.float64, COLUMNS))


def read_rows(samples: Iterable[Sample]) -> Floats:
    """Run, times, span, three bands, good windows, windows: as ``series.on_axis`` takes them.

    nan where nothing is known.
    """
    return np.fromiter(map(_numbers, samples), dtype=ROW)


def _numbers(s: Sample) -> tuple[float | None, ...]:
    return (
        s.run, s.mono_s, s.wall_s, s.span_s, *s.front_v, *s.far_v, *s.current_a, s.good, s.windows
    )  # fmt: skip
