"""What all budgets of one settings file rest on: steps, uncertainties, the bank's limits."""

from collections.abc import Iterator
from math import sqrt

from supervisor.measurement.uncertainty import cell_budget, current_budget
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.hardware import CellChannel
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.steps import Part, Steps, seconds

WHOLE_PATHS = ("loop.", "second_line.", "channels.")


def cells(settings: SupervisorSettings) -> list[CellChannel]:
    """The cell channels that are wired."""
    wired = fitted_channels(settings).values()
    return [channel for channel in wired if isinstance(channel, CellChannel)]


def guard_band_v(settings: SupervisorSettings, at_v: float) -> float:
    """Expanded uncertainty of the worse cell channel, in V."""
    return max(cell_budget(cell).expanded(at_v) for cell in cells(settings))


class Basis:
    """Figures that several budgets share, and the one way to make a budget."""

    def __init__(self, settings: SupervisorSettings) -> None:
        self.settings = settings
        self.rules = settings.protection
        self.steps = Steps(settings)
        self.cells = tuple(cells(settings))
        self.shunt = current_budget(settings.channels.shunt)
        self.watched_v = self.sure_v(self.rules.overvoltage.trip_volts)
        self.untripped_v = min(self._untripped_v())

    def _untripped_v(self) -> Iterator[float]:
        """How high a cell may be that rises as fast as it can, and just not tripped yet."""
        mean, high_set = self.rules.overvoltage, self.rules.overvoltage_high_set
        rise = self.settings.bank.fastest_rise_volts_per_second
        until_s = seconds(self.steps.windows_until_known(mean.of, mean.delay_seconds))
        yield self.watched_v + rise * until_s
        until_s = seconds(self.steps.conversions_until_known(high_set.of))
        yield self.sure_v(high_set.trip_volts) + rise * until_s

    def sure_v(self, limit_v: float) -> float:
        """Highest true voltage at which a limit may still not act."""
        return limit_v + guard_band_v(self.settings, limit_v)

    def difference_v(self, at_v: float, at_a: float, ohms: float) -> float:
        """Expanded uncertainty of front minus far cell, less current times resistance, in V.

        Independent errors, so root of the sum of squares. Two channels of one chip share part of
        their gain error, which would make it smaller: nobody promises how much.
        """
        parts = [cell_budget(cell).expanded(at_v) for cell in self.cells]
        return sqrt(sum(u * u for u in (*parts, self.shunt.expanded(at_a) * ohms)))

    def budget(
        self,
        rule: str,
        *,
        limit: tuple[str, float, str],
        response: tuple[Part, ...],
        guard_band: float | None = None,
        starts_at_v: float | None = None,
        part: str = "",
        title: str = "",
        upper: bool = True,
        about_zero: bool = False,
        response_at: float | None = None,
        note: str = "",
    ) -> RuleBudget:
        """``limit``: key within the rule's block (or a whole path), value, unit."""
        key, value, unit = limit
        bank = self.settings.bank
        return RuleBudget(
            rule=rule,
            title=title or (f"{rule}, {part}" if part else rule),
            limit_key=key if key.startswith(WHOLE_PATHS) else f"protection.{rule}.{key}",
            limit=value,
            unit=unit,
            guard_band=guard_band,
            response=response,
            starts_at_v=starts_at_v,
            rise_v_per_s=bank.fastest_rise_volts_per_second,
            never_above_v=bank.never_above_volts,
            upper=upper,
            about_zero=about_zero,
            response_at=response_at,
            note=note,
        )
