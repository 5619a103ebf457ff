"""Time closed of which the record knows nothing good."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from supervisor.report.series import GAP_SPANS, Series
from supervisor.report.spells import Spell

EDGE_S = 1e-6


@dataclass(frozen=True, slots=True)
class Gaps:
    """``whole``: stretches without any good row; ``partly_s``: single windows lost within rows."""

    whole: tuple[Spell, ...]
    partly_s: float

    @property
    def total_s(self) -> float:
        return sum(gap.length_s for gap in self.whole) + self.partly_s


def find_gaps(series: Series, spells: Iterable[Spell]) -> Gaps:
    whole: list[Spell] = []
    partly_s = 0.0
    for spell in spells:
        rows = series[(series.at_s > spell.from_s) & (series.at_s - series.span_s < spell.to_s)]
        whole += _merged(_without_rows(rows, spell))
        is_partly = (rows.good > 0) & (rows.good < rows.windows)
        lost_s = (rows.windows - rows.good) / rows.windows * rows.span_s
        partly_s += float(lost_s[is_partly].sum())
    return Gaps(tuple(whole), partly_s)


def _without_rows(rows: Series, spell: Spell) -> Iterator[Spell]:
    before_s = spell.from_s
    for at_s, span_s, good in zip(rows.at_s, rows.span_s, rows.good, strict=True):
        if at_s - before_s > GAP_SPANS * span_s:
            yield Spell(before_s, float(at_s - span_s))
        if good == 0:
            begins_s = max(spell.from_s, before_s, float(at_s - span_s))
            yield Spell(begins_s, min(float(at_s), spell.to_s))
        before_s = float(at_s)
    span_s = float(rows.span_s[-1]) if len(rows) else 0.0
    if spell.to_s - before_s > GAP_SPANS * span_s + EDGE_S:
        yield Spell(before_s, spell.to_s)


def _merged(gaps: Iterable[Spell]) -> list[Spell]:
    merged: list[Spell] = []
    for gap in gaps:
        if merged and gap.from_s - merged[-1].to_s < EDGE_S:
            merged[-1] = Spell(merged[-1].from_s, gap.to_s)
        else:
            merged.append(gap)
    return merged
