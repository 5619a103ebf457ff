"""What one rule can promise: limit, guard band, response, and how far a cell gets meanwhile."""

from dataclasses import dataclass

from supervisor.measurement.uncertainty import acceptance_limit
from supervisor.sizing.steps import Part, Stage, seconds


@dataclass(frozen=True, slots=True)
class RuleBudget:
    """The one source of these numbers, for whoever shows them.

    ``limit`` and ``guard_band`` (expanded uncertainty at the limit) are in ``unit``; the guard
    band is None where nothing is measured but time. ``upper``: the limit is passed upwards.
    ``about_zero``: the value is 0 while all is well, in either direction. ``response_at`` is the
    value, in ``unit``, at which the response was reckoned; None for one just beyond the effective
    limit. ``starts_at_v`` is the highest true voltage a cell may have when the response begins,
    None for a rule that bounds no voltage.
    """

    rule: str
    title: str
    limit_key: str
    limit: float
    unit: str
    guard_band: float | None
    response: tuple[Part, ...]
    starts_at_v: float | None
    rise_v_per_s: float
    never_above_v: float
    upper: bool
    about_zero: bool
    response_at: float | None
    note: str

    @property
    def response_s(self) -> float:
        return seconds(self.response)

    def stage_s(self, stage: Stage) -> float:
        """What one stage takes of the response."""
        return seconds(part for part in self.response if part.stage is stage)

    @property
    def effective_limit(self) -> float | None:
        """The true value from which on the rule is sure to act."""
        return None if self.guard_band is None else self.limit + self._outwards * self.guard_band

    @property
    def acceptance_limit(self) -> float | None:
        """Readings within this show that the true value is within the limit (ILAC-G8, w = U)."""
        if self.guard_band is None:
            return None
        return acceptance_limit(self.limit, self._outwards * self.guard_band)

    @property
    def rise_v(self) -> float:
        """How far a cell can rise during the response."""
        return self.rise_v_per_s * self.response_s

    @property
    def highest_v(self) -> float | None:
        """Highest true cell voltage when the contactor is open."""
        return None if self.starts_at_v is None else self.starts_at_v + self.rise_v

    @property
    def is_low_enough(self) -> bool:
        """Whether the highest voltage stays below what the cells' maker forbids."""
        return self.highest_v is None or self.highest_v < self.never_above_v

    @property
    def is_discernible(self) -> bool:
        """Whether the limit is more than the measuring error can show where there is nothing."""
        return not self.about_zero or self.guard_band is None or self.limit > self.guard_band

    @property
    def fits(self) -> bool:
        """Whether the rule can do what it is for."""
        return self.is_low_enough and self.is_discernible

    @property
    def _outwards(self) -> int:
        return 1 if self.upper else -1
