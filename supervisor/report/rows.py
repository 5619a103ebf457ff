"""Rows of samples as plain numbers, taken one by one: of a week there are 600 000."""

from collections.abc import Callable, Iterable

import numpy as np

from supervisor.journal.reader import Sample
from supervisor.report.series import Floats
from supervisor.report.sound import LARGEST, LATEST_S, within

COLUMNS = 15
ROW = np.dtype((np.float64, COLUMNS))
MOST = np.full(COLUMNS, LARGEST)
MOST[2] = LATEST_S
MUST = [0, 1, 2, 3, 13, 14]  # a row without one of these has no place


def read_rows(samples: Callable[[], Iterable[Sample]]) -> tuple[Floats, int]:
    """Run, times, span, three bands, good windows, windows: as ``series.on_axis`` takes them; and
    of how many rows something could not be believed.

    nan where nothing is known. ``samples`` begins anew each time that it is called.
    """
    try:
        rows = np.fromiter(map(_values, samples()), dtype=ROW)
    except (TypeError, ValueError):  # something that is no number
        rows = np.fromiter(map(_sound_values, samples()), dtype=ROW)
    odd = np.abs(rows) > MOST
    rows[odd] = np.nan
    has_place = np.isfinite(rows[:, MUST]).all(axis=1)
    run, span_s, good, windows = rows[:, [0, 3, 13, 14]].T
    has_place &= (run > 0) & (span_s > 0) & (good >= 0) & (windows > 0)
    return rows[has_place], int((odd.any(axis=1) | ~has_place).sum())


def _values(s: Sample) -> tuple[float | None, ...]:
    return (
        s.run, s.mono_s, s.wall_s, s.span_s, *s.front_v, *s.far_v, *s.current_a, s.good, s.windows
    )  # fmt: skip


def _sound_values(sample: Sample) -> tuple[float | None, ...]:
    return tuple(map(within, _values(sample), MOST.tolist()))
