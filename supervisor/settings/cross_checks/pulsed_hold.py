"""A pulsed hold within the hold, wide enough for the contactor, and with an end."""

from collections.abc import Iterator
from math import ceil, floor

from supervisor.settings.charge import Charge, PulsedHold
from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.figures import well_below
from supervisor.settings.model import SupervisorSettings

PULSED = "charge.pulsed_hold"
LEAST_SWING_V = 0.005
USUAL_SWING_V = 0.05


def pulsed_hold_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    charge = settings.charge
    if charge is None or charge.pulsed_hold is None:
        return
    yield from _voltages(charge, charge.pulsed_hold)
    yield from _times(settings, charge.pulsed_hold)
    if charge.full is None:
        yield Contradiction(
            PULSED,
            "A pulsed hold needs charge.full.",
            "Without an end it would go on until its own limits stop it, on a bank that is full.",
            "Write charge.full, or leave pulsed_hold out.",
        )


def _voltages(charge: Charge, pulsed: PulsedHold) -> Iterator[Contradiction]:
    if not charge.hold_from_v < pulsed.open_above_volts <= charge.hold_volts:
        yield Contradiction(
            f"{PULSED}.open_above_volts",
            f"{pulsed.open_above_volts:g} V is not in the hold, {charge.hold_from_v:g} to "
            f"{charge.hold_volts:g} V.",
            "A pulsed hold keeps the voltage of the hold, and ends each pulse before a limit does.",
            f"Write {charge.hold_volts:g}.",
        )
    if pulsed.close_below_volts > pulsed.open_above_volts - LEAST_SWING_V:
        yield Contradiction(
            f"{PULSED}.close_below_volts",
            f"{pulsed.close_below_volts:g} V is not {LEAST_SWING_V * 1000:g} mV below "
            f"open_above_volts, {pulsed.open_above_volts:g} V.",
            "The contactor would chatter, and wear out or weld.",
            _where_to_close(charge, pulsed),
        )
    elif pulsed.close_below_volts <= charge.taper_above_volts:
        yield Contradiction(
            f"{PULSED}.close_below_volts",
            f"{pulsed.close_below_volts:g} V is not above charge.taper_above_volts, "
            f"{charge.taper_above_volts:g} V.",
            "A bank that falls so far is not in its hold any more.",
            _where_to_close(charge, pulsed),
        )


def _where_to_close(charge: Charge, pulsed: PulsedHold) -> str:
    """Between the taper and where it opens; that is told of its own if it is above the hold."""
    opens_v = min(pulsed.open_above_volts, charge.hold_volts)
    volts = well_below(
        opens_v - LEAST_SWING_V, charge.taper_above_volts, USUAL_SWING_V - LEAST_SWING_V
    )
    if volts is None:
        return (
            f"Lower charge.taper_above_volts first: there is no room between its "
            f"{charge.taper_above_volts:g} V and {opens_v:g} V."
        )
    return f"Write {volts} or so."


def _times(settings: SupervisorSettings, pulsed: PulsedHold) -> Iterator[Contradiction]:
    most_minutes, least_minutes = pulsed.most_rest_minutes, pulsed.least_rest_seconds / 60
    new_after_minutes = 60 * settings.session.new_after_open_hours
    more_than, less_than = ceil(least_minutes), floor(new_after_minutes)
    first = "Lower least_rest_seconds first." if more_than >= less_than else ""
    if most_minutes <= least_minutes:
        yield Contradiction(
            f"{PULSED}.most_rest_minutes",
            f"{most_minutes:g} min is no more than least_rest_seconds, "
            f"{pulsed.least_rest_seconds:g} s.",
            "It would end before it may close again.",
            first or f"Write more than {more_than}.",
        )
    if most_minutes >= new_after_minutes:
        yield Contradiction(
            f"{PULSED}.most_rest_minutes",
            f"{most_minutes:g} min is not less than session.new_after_open_hours, "
            f"{settings.session.new_after_open_hours:g} h.",
            "A rest so long would begin a new session, and the charge would be counted anew.",
            first or f"Write less than {less_than}.",
        )
