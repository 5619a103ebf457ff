"""What was put into the bank: as it was counted, or the least that it can have been."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from supervisor.report.gaps import Gaps
from supervisor.report.integral import charge_ah, energy_wh
from supervisor.report.record import Progress, Record
from supervisor.report.spells import Spell
from supervisor.report.trips import Trip
from supervisor.report.words import UNKNOWN, minute, reckoned, with_error

COUNTED_TO_S = 2.0
ROUNDING_AH = 0.001
LEAST_GAP_S = 0.5


@dataclass(frozen=True, slots=True)
class Amount:
    """``value`` None: nothing is known of it. ``error``: expanded uncertainty, of a whole one.

    ``is_least``: more may have flowed. ``is_sampled``: by the samples, which say more than what was
    counted.
    """

    value: float | None
    unit: str
    error: float | None = None
    is_least: bool = False
    is_sampled: bool = False

    @property
    def words(self) -> str:
        if self.value is None:
            return UNKNOWN
        if self.error is not None:
            return with_error(self.value, self.error, self.unit)
        least = "at least " if self.is_least else ""
        by = " by the samples" if self.is_sampled else ""
        return f"{least}{reckoned(self.value, self.unit)}{by}"


@dataclass(frozen=True, slots=True)
class Charge:
    """``ah``, ``wh``: what can be said. ``sampled``: by the samples alone; nothing is made up for
    gaps. ``lacks``: why it is not whole, in words."""

    ah: Amount
    wh: Amount
    sampled_ah: Amount
    sampled_wh: Amount
    lacks: tuple[str, ...]

    @property
    def is_whole(self) -> bool:
        return not self.lacks


def charge_of(record: Record, closed: Sequence[Spell], gaps: Gaps, trips: Sequence[Trip]) -> Charge:
    """By the largest count, which is the newest one of a whole charge: after an end that nobody saw
    a count begins at nothing again."""
    lacks = tuple(_lacks(record, closed, trips))
    sampled_ah, sampled_wh = _sampled(record, closed)
    is_sampled_least = gaps.total_s >= LEAST_GAP_S or not all(trip.was_seen for trip in trips)
    ah, wh = Amount(None, "Ah"), Amount(None, "Wh")
    if (largest := largest_count(record)) is not None:
        row = largest.row
        ah, wh = Amount(row.charged_ah, "Ah", row.charged_u_ah), Amount(row.charged_wh, "Wh")
        if row.charged_ah and row.charged_u_ah is not None and row.charged_wh is not None:
            # That of the voltage is small beside it.
            error_wh = row.charged_wh * row.charged_u_ah / row.charged_ah
            wh = Amount(row.charged_wh, "Wh", error_wh)
    return Charge(
        _least(ah, sampled_ah) if lacks else ah,
        _least(wh, sampled_wh) if lacks else wh,
        Amount(sampled_ah, "Ah", is_least=is_sampled_least),
        Amount(sampled_wh, "Wh", is_least=is_sampled_least),
        lacks,
    )


def largest_count(record: Record) -> Progress | None:
    """The newest one of those."""
    counted = [p for p in record.progress if p.row.charged_ah is not None]
    return max(counted, key=lambda p: (p.row.charged_ah, p.at_s), default=None)


def _sampled(record: Record, closed: Sequence[Spell]) -> tuple[float | None, float | None]:
    if not record.has_current:
        return None, None
    return (
        charge_ah(record.series, closed, record.progress),
        energy_wh(record.series, closed, record.progress),
    )


def _least(counted: Amount, sampled: float | None) -> Amount:
    """The more of both."""
    is_sampled = sampled is not None and (counted.value is None or sampled > counted.value)
    value = sampled if is_sampled else counted.value
    return Amount(value, counted.unit, is_least=True, is_sampled=is_sampled)


def _lacks(record: Record, closed: Sequence[Spell], trips: Sequence[Trip]) -> Iterator[str]:
    largest = largest_count(record)
    newest = next((p for p in reversed(record.progress) if p.row.charged_ah is not None), None)
    if largest is None or newest is None:
        yield "it was not counted"
        return
    fell_ah = (largest.row.charged_ah or 0.0) - (newest.row.charged_ah or 0.0)
    is_counted = all(p.row.is_whole for p in record.progress) and fell_ah <= ROUNDING_AH
    if not is_counted or not all(trip.was_seen for trip in trips):
        yield "some of it could not be counted"
    if closed and newest.at_s <= closed[-1].to_s - COUNTED_TO_S:
        yield f"the count was kept up to minute {minute(newest.at_s)} only"
