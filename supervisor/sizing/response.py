"""Response budget: from a fault to an open contactor at the latest, and how far a cell gets.

Worst case of every step, added up. A fault begins when the true value passes the limit by the
reading's uncertainty, at the moment that costs most. The lag of an input filter is not in it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, sqrt

from supervisor.measurement.uncertainty import (
    COVERAGE_FACTOR,
    acceptance_limit,
    cell_budget,
    current_budget,
    lsb_v,
)
from supervisor.protection.rules.rate_of_rise import SIGNIFICANT_SIGMAS
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.hardware import WIDER_RANGES, CellChannel
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import Overcurrent, Overvoltage, ReverseCurrent, Undervoltage
from supervisor.sizing.steps import Part, Stage, Steps


@dataclass(frozen=True, slots=True)
class RuleBudget:
    """What one rule can promise with these settings.

    ``limit`` and ``guard_band`` (expanded uncertainty at the limit) are in ``unit``; the guard
    band is None where nothing is measured but time. ``starts_at_v`` is the highest true voltage
    a cell may have when the response begins, None for a rule that bounds no voltage.
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
    upper: bool = True
    note: str = ""

    @property
    def response_s(self) -> float:
        return sum(part.seconds for part in self.response)

    def stage_s(self, stage: Stage) -> float:
        """What one stage takes of the response."""
        return sum(part.seconds for part in self.response if part.stage is stage)

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
    def fits(self) -> bool:
        """Whether the highest voltage stays below what the cells' maker forbids."""
        return self.highest_v is None or self.highest_v < self.never_above_v

    @property
    def _outwards(self) -> int:
        return 1 if self.upper else -1


def budgets(settings: SupervisorSettings) -> tuple[RuleBudget, ...]:
    """The budget of every rule, in the order of the settings, and of a loop that hangs."""
    return tuple(_Budgets(settings).all())


def guard_band_v(settings: SupervisorSettings, at_v: float) -> float:
    """Expanded uncertainty of the worse cell channel, in V."""
    return max(cell_budget(cell).expanded(at_v) for cell in cells(settings))


def cells(settings: SupervisorSettings) -> list[CellChannel]:
    """The cell channels that are wired."""
    wired = fitted_channels(settings).values()
    return [channel for channel in wired if isinstance(channel, CellChannel)]


class _Budgets:
    def __init__(self, settings: SupervisorSettings) -> None:
        self._settings = settings
        self._rules = settings.protection
        self._steps = Steps(settings)
        self._cells = tuple(cells(settings))
        self._shunt = current_budget(settings.channels.shunt)
        self._watched_v = self._sure_v(self._rules.overvoltage.trip_volts)

    def all(self) -> Iterator[RuleBudget]:
        rules = self._rules
        yield self._cell_mean("overvoltage", rules.overvoltage, starts_at_v=self._watched_v)
        yield self._high_set()
        yield self._current("overcurrent", rules.overcurrent)
        yield self._slope()
        yield self._look_ahead()
        yield self._cell_mean("undervoltage", rules.undervoltage, upper=False)
        yield self._current("reverse_current", rules.reverse_current)
        yield self._sensing()
        yield self._stale()
        yield self._failed_to_open()
        yield self._loop_overrun()
        yield self._hang()

    # Rules on what is measured

    def _cell_mean(
        self,
        key: str,
        rule: Overvoltage | Undervoltage,
        *,
        starts_at_v: float | None = None,
        upper: bool = True,
    ) -> RuleBudget:
        return self._budget(
            key,
            limit=("trip_volts", rule.trip_volts, "V"),
            guard_band=guard_band_v(self._settings, rule.trip_volts),
            response=self._steps.windows(rule.of, rule.delay_seconds),
            starts_at_v=starts_at_v,
            upper=upper,
        )

    def _high_set(self) -> RuleBudget:
        rule = self._rules.overvoltage_high_set
        return self._budget(
            "overvoltage_high_set",
            limit=("trip_volts", rule.trip_volts, "V"),
            guard_band=guard_band_v(self._settings, rule.trip_volts),
            response=self._steps.conversions(rule.of),
            starts_at_v=self._sure_v(rule.trip_volts),
        )

    def _current(self, key: str, rule: Overcurrent | ReverseCurrent) -> RuleBudget:
        return self._budget(
            key,
            limit=("trip_amperes", rule.trip_amperes, "A"),
            guard_band=self._shunt.expanded(rule.trip_amperes),
            response=self._steps.windows(rule.of, rule.delay_seconds),
        )

    def _slope(self) -> RuleBudget:
        rule = self._rules.rate_of_rise
        stretch = Part(Stage.DELAY, "stretch of the slope", rule.over_seconds)
        return self._budget(
            "rate_of_rise",
            limit=("trip_volts_per_minute", rule.trip_volts_per_minute, "V/min"),
            guard_band=max(self._slope_guard_band(cell) for cell in self._cells),
            response=(stretch, *self._steps.windows(of=1, delay_s=rule.delay_seconds)),
        )

    def _look_ahead(self) -> RuleBudget:
        """At the fastest rise it trips so many seconds' rise below never_above_volts."""
        bank, rule = self._settings.bank, self._rules.rate_of_rise
        ahead_s = rule.look_ahead_seconds
        crosses_at_v = bank.never_above_volts - ahead_s * bank.fastest_rise_volts_per_second
        trips_at_v = max(crosses_at_v, rule.above_volts)
        return self._budget(
            "rate_of_rise",
            title="rate_of_rise, look ahead",
            limit=("look_ahead_seconds", ahead_s, "s"),
            response=self._steps.windows(of=1, delay_s=0),
            starts_at_v=self._sure_v(trips_at_v),
            note="For a rise that has lasted as long as the stretch of the slope.",
        )

    def _failed_to_open(self) -> RuleBudget:
        rule = self._rules.failed_to_open
        allowed = Part(Stage.DELAY, "time allowed to open", rule.within_seconds)
        known = self._steps.windows_until_known(of=1, delay_s=0)
        return self._budget(
            "failed_to_open",
            limit=("current_amperes", rule.current_amperes, "A"),
            guard_band=self._shunt.expanded(rule.current_amperes),
            response=(allowed, *known, self._steps.lateness()),
            note="Until it is told: only the mains side can still open the circuit.",
        )

    # Rules on the measurement itself: meanwhile a cell may rise unseen from the highest voltage
    # at which overvoltage does not act.

    def _sensing(self) -> RuleBudget:
        after_s = self._rules.sensing.trip_after_seconds
        blind_s = max([after_s, *map(self._frozen_s, self._cells)])
        return self._budget(
            "sensing",
            limit=("trip_after_seconds", after_s, "s"),
            response=self._steps.blind("no believable reading, or a frozen one", blind_s),
            starts_at_v=self._watched_v,
        )

    def _frozen_s(self, cell: CellChannel) -> float:
        """Until a stuck converter is noticed: by the probe once a window, else by its noise."""
        has_wider_range = cell.range_volts in WIDER_RANGES
        return self._steps.window_s if has_wider_range else cell.frozen_seconds

    def _stale(self) -> RuleBudget:
        after_s = self._rules.stale.trip_after_seconds
        return self._budget(
            "stale",
            limit=("trip_after_seconds", after_s, "s"),
            response=self._steps.blind("no fresh reading", after_s),
            starts_at_v=self._watched_v,
        )

    def _loop_overrun(self) -> RuleBudget:
        return self._budget(
            "loop_overrun",
            limit=("trip_late_seconds", self._rules.loop_overrun.trip_late_seconds, "s"),
            response=self._steps.late(),
            starts_at_v=self._watched_v,
        )

    def _hang(self) -> RuleBudget:
        """With pulse drive no more edges come, and the driver lets go before the lease ends."""
        pulse = self._settings.contactor.drive == "pulse"
        lease = Part(Stage.DELAY, "lease", self._settings.lease_s)
        return self._budget(
            "hang",
            title="the loop hangs",
            limit=("loop.lease_milliseconds", round(lease.seconds, 3), "s"),
            response=self._steps.release() if pulse else (lease, *self._steps.release()),
            starts_at_v=self._watched_v,
            note="No rule runs any more: no edges come, or the lease runs out.",
        )

    def _sure_v(self, limit_v: float) -> float:
        """Highest true voltage at which a limit may still not act."""
        return limit_v + guard_band_v(self._settings, limit_v)

    def _slope_guard_band(self, cell: CellChannel) -> float:
        """Gain error, and 1 LSB of noise on each mean, by the least-squares slope; V/min.

        The rule itself takes off some of the noise before it compares.
        """
        rule, window_s = self._rules.rate_of_rise, self._steps.window_s
        n = ceil(rule.over_seconds / window_s)
        noise = 60 * lsb_v(cell) * cell.gain * sqrt(12 / (n * (n**2 - 1))) / window_s
        gain_variance = cell_budget(cell).relative_variance * rule.trip_volts_per_minute**2
        return COVERAGE_FACTOR * sqrt(gain_variance + noise**2) + SIGNIFICANT_SIGMAS * noise

    def _budget(
        self,
        rule: str,
        *,
        limit: tuple[str, float, str],
        response: tuple[Part, ...],
        guard_band: float | None = None,
        starts_at_v: float | None = None,
        title: str = "",
        upper: bool = True,
        note: str = "",
    ) -> RuleBudget:
        key, value, unit = limit
        bank = self._settings.bank
        return RuleBudget(
            rule=rule,
            title=title or rule,
            limit_key=key if "." in key else f"protection.{rule}.{key}",
            limit=value,
            unit=unit,
            guard_band=guard_band,
            response=response,
            starts_at_v=starts_at_v,
            rise_v_per_s=bank.fastest_rise_volts_per_second,
            never_above_v=bank.never_above_volts,
            upper=upper,
            note=note,
        )
