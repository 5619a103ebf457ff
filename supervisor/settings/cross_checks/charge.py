"""The charge among its own values, and below the limits that would end it."""

from collections.abc import Iterator

from supervisor.settings.charge import Charge, PulsedHold
from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.currents import smallest_amperes
from supervisor.settings.model import SupervisorSettings

HOLD, TAPER, PULSED = "charge.hold_volts", "charge.taper_above_volts", "charge.pulsed_hold"
LEAST_MARGIN_V = 0.005  # of what is held, below what trips
LEAST_SWING_V = 0.005  # of a pulsed hold


def charge_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    if settings.charge is not None:
        yield from _voltages(settings, settings.charge)
        yield from _currents(settings, settings.charge)
        yield from _full(settings, settings.charge)
        yield from _rest(settings.charge)
    yield from _stage_limits(settings)


def _voltages(settings: SupervisorSettings, charge: Charge) -> Iterator[Contradiction]:
    trip_v = settings.protection.lowest_trip_v
    if charge.hold_volts > trip_v - LEAST_MARGIN_V:
        yield Contradiction(
            HOLD,
            f"{charge.hold_volts:g} V is not {LEAST_MARGIN_V * 1000:g} mV below what trips, "
            f"{trip_v:g} V.",
            "Whoever holds it there is opened by the next ripple of the mains.",
            f"Write {trip_v - 0.03:.3f} or less.",
        )
    if charge.taper_above_volts >= charge.hold_from_v:
        yield Contradiction(
            TAPER,
            f"{charge.taper_above_volts:g} V is not below the hold, which begins at "
            f"{charge.hold_from_v:g} V.",
            "There would be no taper: nobody would be told that the end is near.",
            f"Write less than {charge.hold_from_v:g}, such as 3.42.",
        )
    if settings.protection.undervoltage.trip_volts >= charge.taper_above_volts:
        yield Contradiction(
            TAPER,
            f"{charge.taper_above_volts:g} V is not above undervoltage.trip_volts.",
            "The whole charge would count as taper.",
            "Write where the voltage leaves its flat part, such as 3.42.",
        )
    if charge.pulsed_hold is not None:
        yield from _pulsed(charge, charge.pulsed_hold)
        yield from _pulse_times(settings, charge, charge.pulsed_hold)


def _pulsed(charge: Charge, pulsed: PulsedHold) -> Iterator[Contradiction]:
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
            f"Write {pulsed.open_above_volts - 0.05:.3f} or so.",
        )
    if charge.full is None:
        yield Contradiction(
            PULSED,
            "A pulsed hold needs charge.full.",
            "Without an end it would go on until its own limits stop it, on a bank that is full.",
            "Write charge.full, or leave pulsed_hold out.",
        )


def _pulse_times(
    settings: SupervisorSettings, charge: Charge, pulsed: PulsedHold
) -> Iterator[Contradiction]:
    if pulsed.close_below_volts <= charge.taper_above_volts:
        yield Contradiction(
            f"{PULSED}.close_below_volts",
            f"{pulsed.close_below_volts:g} V is not above charge.taper_above_volts, "
            f"{charge.taper_above_volts:g} V.",
            "A bank that falls so far is not in its hold any more.",
            f"Write {pulsed.open_above_volts - 0.05:.3f} or so.",
        )
    most_s, new_after_s = (
        60 * pulsed.most_rest_minutes,
        settings.session.new_after_open_hours * 3600,
    )
    if most_s <= pulsed.least_rest_seconds:
        yield Contradiction(
            f"{PULSED}.most_rest_minutes",
            f"{pulsed.most_rest_minutes:g} min is no more than least_rest_seconds, "
            f"{pulsed.least_rest_seconds:g} s.",
            "It would end before it may close again.",
            f"Write more than {pulsed.least_rest_seconds / 60:.0f}.",
        )
    if most_s >= new_after_s:
        yield Contradiction(
            f"{PULSED}.most_rest_minutes",
            f"{pulsed.most_rest_minutes:g} min is not less than session.new_after_open_hours, "
            f"{settings.session.new_after_open_hours:g} h.",
            "A rest so long would begin a new session, and the charge would be counted anew.",
            f"Write less than {60 * settings.session.new_after_open_hours:g}.",
        )


def _currents(settings: SupervisorSettings, charge: Charge) -> Iterator[Contradiction]:
    trip_a = settings.protection.overcurrent.trip_amperes
    if charge.target_amperes >= trip_a:
        yield Contradiction(
            "charge.target_amperes",
            f"{charge.target_amperes:g} A is not below overcurrent.trip_amperes, {trip_a:g} A.",
            "It would trip before you have what you want.",
            f"Write {0.9 * trip_a:.0f} or less.",
        )
    if charge.full is not None and charge.full.end_amperes >= charge.target_amperes:
        yield Contradiction(
            "charge.full.end_amperes",
            f"{charge.full.end_amperes:g} A is not below charge.target_amperes, "
            f"{charge.target_amperes:g} A.",
            "Any hold would count as full.",
            "Write what the bank takes when it is full: a small part of the target.",
        )


def _full(settings: SupervisorSettings, charge: Charge) -> Iterator[Contradiction]:
    full = charge.full
    if full is None:
        return
    smallest_a = smallest_amperes(settings.channels.shunt)
    if full.end_amperes < smallest_a:
        yield Contradiction(
            "charge.full.end_amperes",
            f"{full.end_amperes:g} A is less than shunt and converter can tell from nothing, "
            f"{smallest_a:.2g} A.",
            "It would never be full.",
            f"Write {smallest_a:.2g} at least, or fit a smaller shunt for the last hours.",
        )


def _rest(charge: Charge) -> Iterator[Contradiction]:
    rest = charge.rest
    if rest.lowest_volts >= rest.highest_volts:
        yield Contradiction(
            "charge.rest.lowest_volts",
            f"{rest.lowest_volts:g} V is not below charge.rest.highest_volts, "
            f"{rest.highest_volts:g} V.",
            "No rest could ever pass.",
            "Write where full cells come to rest, such as 3.33 to 3.6.",
        )


def _stage_limits(settings: SupervisorSettings) -> Iterator[Contradiction]:
    rules, limits = settings.protection, settings.protection.stage_limits
    if limits is None:
        return
    block = "protection.stage_limits"
    if settings.charge is None:
        yield Contradiction(
            block,
            "It needs a charge block: there stand the voltages at which the stages begin.",
            "Nobody would know when a tighter limit counts.",
            "Write charge, or leave stage_limits out.",
        )
    hold = limits.hold
    if limits.taper is None and (hold is None or hold.trip_amperes is hold.trip_volts is None):
        yield Contradiction(
            block,
            "Neither taper nor hold has a limit.",
            "A rule without a limit never trips, and looks as if it were there.",
            "Write one of them, or leave stage_limits out.",
        )
    most_a = rules.overcurrent.trip_amperes
    taper_a = limits.taper.trip_amperes if limits.taper else None
    hold_a = limits.hold.trip_amperes if limits.hold else None
    for name, limit_a in (("taper", taper_a), ("hold", hold_a)):
        if limit_a is not None and limit_a >= most_a:
            yield Contradiction(
                f"{block}.{name}.trip_amperes",
                f"{limit_a:g} A is not below overcurrent.trip_amperes, {most_a:g} A.",
                "It would not be tighter: overcurrent always comes first.",
                f"Write less than {most_a:g}.",
            )
    hold_v, over_v = limits.hold.trip_volts if limits.hold else None, rules.overvoltage.trip_volts
    if hold_v is not None and hold_v >= over_v:
        yield Contradiction(
            f"{block}.hold.trip_volts",
            f"{hold_v:g} V is not below overvoltage.trip_volts, {over_v:g} V.",
            "It would not be tighter: overvoltage always comes first.",
            f"Write less than {over_v:g}.",
        )
