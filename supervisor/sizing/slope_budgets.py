"""Budgets of the rules on a slope: how steep noise alone can look, and how long a slope takes."""

from collections.abc import Iterator
from math import ceil, sqrt

from supervisor.measurement.uncertainty import COVERAGE_FACTOR, Budget, cell_budget, lsb_v
from supervisor.protection.rises import AFTER_CLOSING_S, SIGNIFICANT_SIGMAS, settling_s
from supervisor.sizing.basis import Basis
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.steps import Part, Stage


def slope_budgets(basis: Basis) -> Iterator[RuleBudget]:
    yield _rate_of_rise(basis)
    yield _look_ahead(basis)
    yield from _knob_speed(basis)


def _rate_of_rise(basis: Basis) -> RuleBudget:
    rule = basis.rules.rate_of_rise
    blind_s = AFTER_CLOSING_S + settling_s(rule.over_seconds)  # right after closing
    return basis.budget(
        "rate_of_rise",
        limit=("trip_volts_per_minute", rule.trip_volts_per_minute, "V/min"),
        guard_band=60 * _cells(basis, rule.trip_volts_per_minute / 60, rule.over_seconds),
        response=(
            _stretch(max(rule.over_seconds, blind_s)),
            *basis.steps.windows(1, rule.delay_seconds),
        ),
    )


def _look_ahead(basis: Basis) -> RuleBudget:
    """At the fastest rise it trips so many seconds' rise below never_above_volts."""
    bank, rule = basis.settings.bank, basis.rules.rate_of_rise
    ahead_s = rule.look_ahead_seconds
    crosses_at_v = bank.never_above_volts - ahead_s * bank.fastest_rise_volts_per_second
    return basis.budget(
        "rate_of_rise",
        part="look ahead",
        limit=("look_ahead_seconds", ahead_s, "s"),
        response=basis.steps.windows(of=1, delay_s=0),
        starts_at_v=basis.sure_v(max(crosses_at_v, rule.above_volts)),
        note="For a rise that has lasted as long as the stretch of the slope.",
    )


def _knob_speed(basis: Basis) -> Iterator[RuleBudget]:
    rule = basis.rules.knob_speed
    if rule is None:
        return
    over_s = rule.over_seconds
    blind_s = AFTER_CLOSING_S + settling_s(over_s)  # right after closing
    response = (_stretch(max(over_s, blind_s)), *basis.steps.windows(of=1, delay_s=0))
    yield basis.budget(
        "knob_speed",
        part="current",
        limit=("trip_amperes_per_second", rule.trip_amperes_per_second, "A/s"),
        guard_band=_shunt(basis, rule.trip_amperes_per_second, over_s),
        response=response,
    )
    yield basis.budget(
        "knob_speed",
        part="voltage",
        limit=("trip_volts_per_second", rule.trip_volts_per_second, "V/s"),
        guard_band=_cells(basis, rule.trip_volts_per_second, over_s),
        response=response,
    )


def _cells(basis: Basis, limit: float, over_s: float) -> float:
    """Guard band of the worse cell channel, in V/s."""
    window_s = basis.steps.window_s
    return max(
        slope_guard_band(cell_budget(cell), cell.step_volts, limit, over_s, window_s)
        for cell in basis.cells
    )


def _shunt(basis: Basis, limit: float, over_s: float) -> float:
    """Guard band of the current's slope, in A/s."""
    shunt = basis.settings.channels.shunt
    step_a = lsb_v(shunt) / shunt.ohms * shunt.gain
    return slope_guard_band(basis.shunt, step_a, limit, over_s, basis.steps.window_s)


def slope_guard_band(
    budget: Budget, step: float, limit: float, over_s: float, window_s: float
) -> float:
    """Gain error, and one step of noise on each mean, by the least-squares slope; per second.

    The rule itself takes off some of the noise before it compares.
    """
    n = ceil(over_s / window_s)
    noise = step * sqrt(12 / (n * (n**2 - 1))) / window_s
    gain_variance = budget.relative_variance * limit**2
    return COVERAGE_FACTOR * sqrt(gain_variance + noise**2) + SIGNIFICANT_SIGMAS * noise


def _stretch(over_s: float) -> Part:
    return Part(Stage.DELAY, "stretch of the slope", over_s)
