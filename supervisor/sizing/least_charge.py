"""The charge that a session must reach to count as full: can it, before a limit or a night?

None of this endangers a bank that somebody looks after. But what never counts as full does not open
by itself.
"""

from collections.abc import Iterator
from math import ceil, floor

from supervisor.settings.charge import Charge, Full
from supervisor.settings.model import SupervisorSettings

LONGEST_DAY_H = 10.0  # of work at a stretch (common practice, no source)
LONGEST_NIGHT_H = 24 - LONGEST_DAY_H
USUAL_BREAK_H = 16.0  # longer than such a night
LEAST = "charge.full.least_percent"
NEVER = "the bank never counts as full: a hold that nobody stands beside does not end"


def least_charge_cautions(settings: SupervisorSettings) -> Iterator[str]:
    charge = settings.charge
    full = charge.full if charge else None
    if charge is not None and full is not None:
        yield from _limit_comes_first(settings, full)
        yield from _longer_than_a_day(settings, charge, full)


def _limit_comes_first(settings: SupervisorSettings, full: Full) -> Iterator[str]:
    limit, rating_ah = settings.protection.session_charge, settings.bank.rating_ah
    least_ah = full.least_percent / 100 * rating_ah
    if limit is not None and least_ah >= limit.trip_ampere_hours:
        most_percent = ceil(100 * limit.trip_ampere_hours / rating_ah) - 1
        yield (
            f"{LEAST}: {full.least_percent:g} % are {least_ah:.4g} Ah, and session_charge trips at "
            f"{limit.trip_ampere_hours:g} Ah before that. So {NEVER}. Write {LEAST}: "
            f"{most_percent} at most."
        )


def _longer_than_a_day(settings: SupervisorSettings, charge: Charge, full: Full) -> Iterator[str]:
    """A bank charged by day, and open at night, begins a session every morning."""
    rating_ah, target_a = settings.bank.rating_ah, charge.target_amperes
    least_ah, day_ah = full.least_percent / 100 * rating_ah, LONGEST_DAY_H * target_a
    new_after_h = settings.session.new_after_open_hours
    if least_ah > day_ah and new_after_h <= LONGEST_NIGHT_H:
        yield (
            f"{LEAST}: {full.least_percent:g} % are {least_ah:.4g} Ah, which takes "
            f"{least_ah / target_a:.3g} h at {target_a:g} A, and a night with the circuit open for "
            f"{new_after_h:g} h (session.new_after_open_hours) begins a new session. Charged by "
            f"day only, {NEVER}. Write session.new_after_open_hours: {USUAL_BREAK_H:g}, or "
            f"{LEAST}: {floor(100 * day_ah / rating_ah)} at most; or charge without such a night."
        )
