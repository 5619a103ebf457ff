"""Budgets of the rules on the measurement and the loop themselves.

Meanwhile a cell may rise unseen, from the highest voltage at which no limit has tripped yet: it is
over one, and being timed, when the measurement fails.
"""

from collections.abc import Iterator

from supervisor.protection.sensing.silent_shunt import OVER_S, SECONDS_PER_HOUR, allowed_rise_v
from supervisor.settings.hardware import WIDER_RANGES, CellChannel
from supervisor.sizing.basis import Basis
from supervisor.sizing.budget import RuleBudget

SHUNT_NEAR_ZERO = "shunt near 0 A"


def blind_budgets(basis: Basis) -> Iterator[RuleBudget]:
    yield _sensing(basis)
    yield _shunt_near_zero(basis)
    yield _stale(basis)
    yield _loop_overrun(basis)
    yield _hang(basis)


def _sensing(basis: Basis) -> RuleBudget:
    after_s = basis.rules.sensing.trip_after_seconds
    blind_s = max([after_s, *(_frozen_s(basis, cell) for cell in basis.cells)])
    return basis.budget(
        "sensing",
        limit=("trip_after_seconds", after_s, "s"),
        response=basis.steps.blind("no believable reading, or a frozen one", blind_s),
        starts_at_v=basis.untripped_v,
        note=_found_later(basis),
    )


def _shunt_near_zero(basis: Basis) -> RuleBudget:
    """A stuck code of a few is the same in every range: only its missing noise tells."""
    frozen_s = basis.settings.channels.shunt.frozen_seconds
    return basis.budget(
        "sensing",
        part=SHUNT_NEAR_ZERO,
        limit=("channels.shunt.frozen_seconds", frozen_s, "s"),
        response=basis.steps.blind("the very same code", frozen_s),
        note="A converter of the shunt that stands still while nothing flows. Until then no rule "
        "sees a current; those on the cells' voltage do not need it.",
    )


def _found_later(basis: Basis) -> str:
    """Checks of two channels against each other need something to happen first."""
    rule = basis.rules.sensing
    unseen_ah = rule.zero_amperes * OVER_S / SECONDS_PER_HOUR
    rise_mv = 1000 * allowed_rise_v(basis.settings.bank, unseen_ah)
    return (
        "What no single answer shows is found later: a voltage that does not answer, by changes of "
        f"{rule.step_amperes:g} A or more; a current that does not show, once the front cell has "
        f"risen by {rise_mv:.0f} mV."
    )


def _frozen_s(basis: Basis, cell: CellChannel) -> float:
    """Until a stuck converter is noticed: by the probe once a window, else by its noise."""
    has_wider_range = cell.range_volts in WIDER_RANGES
    return basis.steps.window_s if has_wider_range else cell.frozen_seconds


def _stale(basis: Basis) -> RuleBudget:
    after_s = basis.rules.stale.trip_after_seconds
    return basis.budget(
        "stale",
        limit=("trip_after_seconds", after_s, "s"),
        response=basis.steps.blind("no fresh reading", after_s),
        starts_at_v=basis.untripped_v,
    )


def _loop_overrun(basis: Basis) -> RuleBudget:
    return basis.budget(
        "loop_overrun",
        limit=("trip_late_seconds", basis.rules.loop_overrun.trip_late_seconds, "s"),
        response=basis.steps.late(),
        starts_at_v=basis.untripped_v,
    )


def _hang(basis: Basis) -> RuleBudget:
    return basis.budget(
        "hang",
        title="the loop hangs",
        limit=("loop.lease_milliseconds", round(basis.settings.lease_s, 3), "s"),
        response=basis.steps.expiry(),
        starts_at_v=basis.untripped_v,
        note="No rule runs any more: no edges come, or the lease runs out.",
    )
