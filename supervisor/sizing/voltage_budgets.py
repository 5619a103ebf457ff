"""Budgets of the rules on a cell's voltage, and on the difference of two."""

from collections.abc import Iterator

from supervisor.settings.rules import Overvoltage, Undervoltage
from supervisor.sizing.basis import Basis, guard_band_v
from supervisor.sizing.budget import RuleBudget


def voltage_budgets(basis: Basis) -> Iterator[RuleBudget]:
    rules = basis.rules
    yield _mean(basis, "overvoltage", rules.overvoltage, starts_at_v=basis.watched_v)
    yield _high_set(basis)
    yield _mean(basis, "undervoltage", rules.undervoltage, upper=False)
    yield from _balance(basis)


def _mean(
    basis: Basis,
    key: str,
    rule: Overvoltage | Undervoltage,
    *,
    starts_at_v: float | None = None,
    upper: bool = True,
) -> RuleBudget:
    return basis.budget(
        key,
        limit=("trip_volts", rule.trip_volts, "V"),
        guard_band=guard_band_v(basis.settings, rule.trip_volts),
        response=basis.steps.windows(rule.of, rule.delay_seconds),
        starts_at_v=starts_at_v,
        upper=upper,
    )


def _high_set(basis: Basis) -> RuleBudget:
    rule = basis.rules.overvoltage_high_set
    return basis.budget(
        "overvoltage_high_set",
        limit=("trip_volts", rule.trip_volts, "V"),
        guard_band=guard_band_v(basis.settings, rule.trip_volts),
        response=basis.steps.conversions(rule.of),
        starts_at_v=basis.sure_v(rule.trip_volts),
    )


def _balance(basis: Basis) -> Iterator[RuleBudget]:
    """At the highest voltage and current that other rules still let pass: there it is widest."""
    rule = basis.rules.balance
    if rule is None:
        return
    yield basis.budget(
        "balance",
        limit=("trip_volts", rule.trip_volts, "V"),
        guard_band=basis.difference_v(
            at_v=basis.rules.overvoltage.trip_volts,
            at_a=basis.rules.overcurrent.trip_amperes,
            ohms=rule.bars_microohms * 1e-6,
        ),
        response=basis.steps.windows(rule.of, rule.delay_seconds),
        about_zero=True,
    )
