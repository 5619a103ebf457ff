"""Charge and energy once more, by trapezoids over the recorded samples: a check of what was
counted while it ran."""

from collections.abc import Iterable

import numpy as np

from supervisor.report.record import Progress
from supervisor.report.series import Floats, Series
from supervisor.report.sound import finite
from supervisor.report.spells import Spell

SECONDS_PER_HOUR = 3600.0


def charge_ah(series: Series, spells: Iterable[Spell], progress: Iterable[Progress]) -> float:
    """While closed, the zero of the shunt taken out; over gaps nothing is made up."""
    amperes = _into_bank(series, progress)
    return sum(_between(series, amperes, spell) for spell in spells) / SECONDS_PER_HOUR


def energy_wh(series: Series, spells: Iterable[Spell], progress: Iterable[Progress]) -> float:
    """Likewise, at the front cell's terminals."""
    watts = _into_bank(series, progress) * series.front_v.mean
    return sum(_between(series, watts, spell) for spell in spells) / SECONDS_PER_HOUR


def net_amperes(series: Series, progress: Iterable[Progress]) -> Floats:
    """Mean current of each row, the zero of the shunt taken out; as it is where none was told."""
    zeros = [(p.at_s, zero_a) for p in progress if (zero_a := finite(p.row.zero_a)) is not None]
    if not zeros:
        return series.current_a.mean
    at_s, zero_a = np.array(zeros).T
    newest = np.searchsorted(at_s, series.at_s, side="right") - 1
    return np.asarray(series.current_a.mean - zero_a[np.maximum(newest, 0)])


def _into_bank(series: Series, progress: Iterable[Progress]) -> Floats:
    return np.maximum(net_amperes(series, progress), 0.0)  # what flows back is no charge


def _between(series: Series, values: Floats, spell: Spell) -> float:
    """Each row stands in the middle of its span; the ends of the spell are reached level."""
    middle_s = series.at_s - series.span_s / 2
    inside = (middle_s > spell.from_s) & (middle_s < spell.to_s) & ~np.isnan(values)
    at_s, values = middle_s[inside], values[inside]
    if len(at_s) == 0:
        return 0.0
    span_s = series.span_s[inside]
    step_s = np.diff(at_s)
    longest_s = 1.5 * np.maximum(span_s[:-1], span_s[1:])
    sound = step_s <= longest_s + 1e-6
    trapezoids = np.where(sound, step_s * (values[:-1] + values[1:]) / 2, 0.0)
    halves = np.where(sound, 0.0, (span_s[:-1] * values[:-1] + span_s[1:] * values[1:]) / 2)
    before_s = min(at_s[0] - spell.from_s, span_s[0])
    after_s = min(spell.to_s - at_s[-1], span_s[-1])
    ends = before_s * values[0] + after_s * values[-1]
    return float(trapezoids.sum() + halves.sum() + ends)
