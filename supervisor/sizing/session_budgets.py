"""Budgets of the limits of a session: what is counted over hours, told within a window."""

from collections.abc import Iterator
from math import hypot, sqrt

from supervisor.measurement.uncertainty import COVERAGE_FACTOR
from supervisor.sizing.basis import Basis
from supervisor.sizing.budget import RuleBudget


def session_budgets(basis: Basis) -> Iterator[RuleBudget]:
    rules = basis.rules
    if rules.session_time is not None:
        yield _hours(basis, "session_time", rules.session_time.trip_hours)
    if rules.session_charge is not None:
        yield _charge(basis, rules.session_charge.trip_ampere_hours)
    if rules.session_hold is not None:
        yield _hours(basis, "session_hold", rules.session_hold.trip_hours)


def _hours(basis: Basis, key: str, limit_h: float) -> RuleBudget:
    return basis.budget(
        key,
        limit=("trip_hours", limit_h, "h"),
        response=basis.steps.windows(of=1, delay_s=0),
    )


def _charge(basis: Basis, limit_ah: float) -> RuleBudget:
    return basis.budget(
        "session_charge",
        limit=("trip_ampere_hours", limit_ah, "Ah"),
        guard_band=_uncertainty_ah(basis, limit_ah),
        response=basis.steps.windows(of=1, delay_s=0),
    )


def _uncertainty_ah(basis: Basis, limit_ah: float) -> float:
    """Expanded uncertainty of a charge: gain errors, and an offset that adds up for as long as a
    session may take; where nothing limits that, gain errors alone."""
    longest = basis.rules.session_time
    offset_ah = sqrt(basis.shunt.fixed_variance) * (longest.trip_hours if longest else 0.0)
    return COVERAGE_FACTOR * hypot(sqrt(basis.shunt.relative_variance) * limit_ah, offset_ah)
