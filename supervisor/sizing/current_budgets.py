"""Budgets of the rules on the current."""

from collections.abc import Iterator

from supervisor.protection.curves import CURVES
from supervisor.settings.rules import Overcurrent, ReverseCurrent
from supervisor.sizing.basis import Basis, guard_band_v
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.steps import Part, Stage

TIMES = 2  # the pick-up: where curves are compared


def current_budgets(basis: Basis) -> Iterator[RuleBudget]:
    yield _definite_time(basis, "overcurrent", basis.rules.overcurrent)
    yield from _inverse_time(basis)
    yield from _stage_limits(basis)
    yield _definite_time(basis, "reverse_current", basis.rules.reverse_current)
    yield _failed_to_open(basis)
    yield from _failed_to_close(basis)


def _definite_time(basis: Basis, key: str, rule: Overcurrent | ReverseCurrent) -> RuleBudget:
    return basis.budget(
        key,
        limit=("trip_amperes", rule.trip_amperes, "A"),
        guard_band=basis.shunt.expanded(rule.trip_amperes),
        response=basis.steps.windows(rule.of, rule.delay_seconds),
    )


def _inverse_time(basis: Basis) -> Iterator[RuleBudget]:
    rule = basis.rules.overcurrent_inverse
    if rule is None:
        return
    at_a = TIMES * rule.trip_amperes
    read_a = at_a - basis.shunt.expanded(at_a)  # at the least
    curve, most_a = CURVES[rule.curve], basis.rules.overcurrent.trip_amperes
    at_most_s = rule.time_multiplier * curve.operate_s(most_a / rule.trip_amperes)
    on_the_curve_s = rule.time_multiplier * curve.operate_s(read_a / rule.trip_amperes)
    yield basis.budget(
        "overcurrent_inverse",
        limit=("trip_amperes", rule.trip_amperes, "A"),
        guard_band=basis.shunt.expanded(rule.trip_amperes),
        response=(
            Part(Stage.DELAY, f"{rule.curve} at {TIMES:g} times", on_the_curve_s),
            *basis.steps.windows(of=1, delay_s=0),
        ),
        response_at=at_a,
        note=f"The response is for {TIMES:g} times the limit; the more current, the sooner. At "
        f"{most_a:g} A, the most that overcurrent lets last, {at_most_s:.0f} s.",
    )


def _stage_limits(basis: Basis) -> Iterator[RuleBudget]:
    """Of each stage: the current, and in the hold the voltage. Overvoltage stays behind it."""
    rule = basis.rules.stage_limits
    if rule is None:
        return
    response = basis.steps.windows(rule.of, rule.delay_seconds)
    for stage, limit_a in (
        ("taper", rule.taper and rule.taper.trip_amperes),
        ("hold", rule.hold and rule.hold.trip_amperes),
    ):
        if limit_a:
            yield basis.budget(
                "stage_limits",
                part=f"{stage}, A",
                limit=(f"{stage}.trip_amperes", limit_a, "A"),
                guard_band=basis.shunt.expanded(limit_a),
                response=response,
            )
    if rule.hold and rule.hold.trip_volts:
        yield basis.budget(
            "stage_limits",
            part="hold, V",
            limit=("hold.trip_volts", rule.hold.trip_volts, "V"),
            guard_band=guard_band_v(basis.settings, rule.hold.trip_volts),
            response=response,
        )


def _failed_to_open(basis: Basis) -> RuleBudget:
    rule = basis.rules.failed_to_open
    allowed = Part(Stage.DELAY, "time allowed to open", rule.within_seconds)
    known = basis.steps.windows_until_known(of=1, delay_s=0)
    return basis.budget(
        "failed_to_open",
        limit=("current_amperes", rule.current_amperes, "A"),
        guard_band=basis.shunt.expanded(rule.current_amperes),
        response=(allowed, *known, basis.steps.lateness()),
        note="Until it is told: only the mains side can still open the circuit.",
    )


def _failed_to_close(basis: Basis) -> Iterator[RuleBudget]:
    """The fault is an open circuit already; what it guards against is that it closes by itself."""
    if basis.settings.contactor.auxiliary is None:
        return
    within_s = basis.rules.failed_to_close.within_seconds
    yield basis.budget(
        "failed_to_close",
        limit=("within_seconds", within_s, "s"),
        response=basis.steps.blind("contact seen open", within_s),
    )
