"""How far the counted charge may be trusted: against the samples."""

from dataclasses import dataclass

from supervisor.report.charge import ROUNDING_AH, largest_count
from supervisor.report.gaps import Gaps
from supervisor.report.integral import SECONDS_PER_HOUR, charge_ah
from supervisor.report.record import Record
from supervisor.report.spells import Spell

EDGES = 2  # of a closing: at each the rows know to half their span when it was


@dataclass(frozen=True, slots=True)
class ChargeCheck:
    """What was counted while it ran against the integral of the samples up to the same minute."""

    until_s: float
    counted_ah: float
    is_whole: bool  # nothing is missing in the count, as far as the daemon knew
    sampled_ah: float
    allowed_ah: float

    @property
    def differs_ah(self) -> float:
        return self.counted_ah - self.sampled_ah

    @property
    def is_sound(self) -> bool:
        """What could not be counted is missing in it; more than the samples say it never is."""
        differs_ah = abs(self.differs_ah) if self.is_whole else self.differs_ah
        return differs_ah <= self.allowed_ah


def check_charge(
    record: Record, closed: list[Spell], gaps: Gaps, highest_a: float | None
) -> ChargeCheck | None:
    """``allowed_ah``: the uncertainty, and what may have flowed in gaps and at the edges of rows.

    By the largest count. None when nothing was counted, or no current is known.
    """
    largest = largest_count(record)
    if largest is None or largest.row.charged_ah is None or highest_a is None:
        return None
    until = [Spell(s.from_s, min(s.to_s, largest.at_s)) for s in closed if s.from_s < largest.at_s]
    edges_s = EDGES * len(until) * _longest_span_s(record) / 2
    unknown_ah = (gaps.total_s + edges_s) * highest_a / SECONDS_PER_HOUR
    return ChargeCheck(
        largest.at_s,
        largest.row.charged_ah,
        largest.row.is_whole,
        charge_ah(record.series, until, record.progress),
        (largest.row.charged_u_ah or 0.0) + unknown_ah + ROUNDING_AH,
    )


def _longest_span_s(record: Record) -> float:
    """Of the rows that are reckoned with; those of the time open are longer, and do not count."""
    return float(
        (record.seconds if len(record.seconds) else record.minutes).span_s.max(initial=0.0)
    )
