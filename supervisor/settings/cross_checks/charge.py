"""The charge among its own values, and below the limits that would end it."""

from collections.abc import Iterator

from supervisor.settings.charge import Charge, Rest
from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.currents import smallest_amperes
from supervisor.settings.cross_checks.figures import FLOATS, down, up, well_below
from supervisor.settings.cross_checks.pulsed_hold import pulsed_hold_checks
from supervisor.settings.cross_checks.stage_limits import stage_limit_checks
from supervisor.settings.model import SupervisorSettings

HOLD, TAPER = "charge.hold_volts", "charge.taper_above_volts"
LEAST_MARGIN_V = 0.005  # of what is held, below what trips
USUAL_MARGIN_V = 0.03
USUAL_TAPER_V = 3.42
BELOW_TRIP = 0.9  # of the current that trips: what may be wanted


def charge_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    if settings.charge is not None:
        yield from _hold(settings, settings.charge)
        yield from _taper(settings, settings.charge)
        yield from pulsed_hold_checks(settings)
        yield from _target(settings, settings.charge)
        yield from _small_supply(settings.charge)
        yield from _full(settings, settings.charge)
        yield from _rest(settings.charge)
    yield from stage_limit_checks(settings)


def _hold(settings: SupervisorSettings, charge: Charge) -> Iterator[Contradiction]:
    trip_v = settings.protection.lowest_trip_v
    most_v = trip_v - LEAST_MARGIN_V
    if charge.hold_volts > most_v + FLOATS:
        begins_v = charge.taper_above_volts + charge.band_volts
        volts = well_below(most_v, begins_v, USUAL_MARGIN_V - LEAST_MARGIN_V)
        yield Contradiction(
            HOLD,
            f"{charge.hold_volts:g} V is not {LEAST_MARGIN_V * 1000:g} mV below what trips, "
            f"{trip_v:g} V.",
            "Whoever holds it there is opened by the next ripple of the mains.",
            f"Write {volts} or less."
            if volts
            else f"Write {trip_v - USUAL_MARGIN_V:.3f} or less, and less for {TAPER}.",
        )


def _taper(settings: SupervisorSettings, charge: Charge) -> Iterator[Contradiction]:
    if charge.taper_above_volts >= charge.hold_from_v:
        yield Contradiction(
            TAPER,
            f"{charge.taper_above_volts:g} V is not below the hold, which begins at "
            f"{charge.hold_from_v:g} V.",
            "There would be no taper: nobody would be told that the end is near.",
            _where_the_taper_begins(settings, charge),
        )
    if settings.protection.undervoltage.trip_volts >= charge.taper_above_volts:
        yield Contradiction(
            TAPER,
            f"{charge.taper_above_volts:g} V is not above undervoltage.trip_volts.",
            "The whole charge would count as taper.",
            _where_the_taper_begins(settings, charge),
        )


def _where_the_taper_begins(settings: SupervisorSettings, charge: Charge) -> str:
    low_v, high_v = settings.protection.undervoltage.trip_volts, charge.hold_from_v
    volts = well_below(high_v, low_v, 0.05)
    if volts is None:
        return (
            f"Raise hold_volts or lower undervoltage.trip_volts first: nothing lies between "
            f"{low_v:g} and {high_v:g} V."
        )
    usual = low_v < USUAL_TAPER_V < high_v
    return (
        f"Write where the voltage leaves its flat part: less than {high_v:g}, such as "
        f"{USUAL_TAPER_V if usual else volts}."
    )


def _target(settings: SupervisorSettings, charge: Charge) -> Iterator[Contradiction]:
    target_a, trip_a = charge.target_amperes, settings.protection.overcurrent.trip_amperes
    part, bears_a = _weakest(settings)
    factor = _form_factor(settings)
    most_a = min(BELOW_TRIP * trip_a, bears_a / factor)
    if target_a >= trip_a:
        yield Contradiction(
            "charge.target_amperes",
            f"{target_a:g} A is not below overcurrent.trip_amperes, {trip_a:g} A.",
            "It would trip before you have what you want.",
            f"Write {down(most_a)} or less.",
        )
    elif target_a * factor > bears_a * (1 + FLOATS):
        yield Contradiction(
            "charge.target_amperes",
            f"{target_a:g} A are {target_a * factor:.4g} A effective (form_factor {factor:g}), "
            f"more than the {part} of supply_thermal bears for ever, {bears_a:g} A.",
            "A charge lasts for hours: supply_thermal would trip on the current that you want.",
            f"Write {down(most_a)} or less, or fit a supply that bears more.",
        )


def _weakest(settings: SupervisorSettings) -> tuple[str, float]:
    """The part of the supply that bears least, and its effective current."""
    rule = settings.protection.supply_thermal
    parts = {"rectifier": rule.rectifier, "transformer": rule.transformer} if rule else {}
    bear = {name: part.continuous_amperes for name, part in parts.items() if part}
    return min(bear.items(), key=lambda item: item[1], default=("", float("inf")))


def _form_factor(settings: SupervisorSettings) -> float:
    rule = settings.protection.supply_thermal
    return rule.form_factor if rule else 1.0


def _small_supply(charge: Charge) -> Iterator[Contradiction]:
    """One that is regulated is the small one itself."""
    small_a, target_a = charge.bench_supply_amperes, charge.target_amperes
    if small_a is not None and small_a >= target_a and not charge.regulated:
        yield Contradiction(
            "charge.bench_supply_amperes",
            f"{small_a:g} A is not below charge.target_amperes, {target_a:g} A.",
            "It is told when the hold takes less than the small supply gives: here it always does.",
            f"Write less than {target_a:g}, or leave it out. If this supply is the small one, "
            "write charge.regulated: true.",
        )


def _full(settings: SupervisorSettings, charge: Charge) -> Iterator[Contradiction]:
    """Its end is a current: not all of the charge, and more than a supply that gives none shows."""
    full, zero_a = charge.full, settings.protection.sensing.zero_amperes
    if full is None:
        return
    if full.end_amperes >= charge.target_amperes:
        yield Contradiction(
            "charge.full.end_amperes",
            f"{full.end_amperes:g} A is not below charge.target_amperes, "
            f"{charge.target_amperes:g} A.",
            "Any hold would count as full.",
            "Write what the bank takes when it is full: a small part of the target.",
        )
    smallest_a = smallest_amperes(settings.channels.shunt)
    least_a = zero_a + smallest_a
    if full.end_amperes < least_a - FLOATS:
        finer = "fit a smaller shunt for the last hours, with a smaller zero_amperes"
        fits = float(up(least_a)) < charge.target_amperes
        yield Contradiction(
            "charge.full.end_amperes",
            f"{full.end_amperes:g} A cannot be told from the offset that sensing.zero_amperes "
            f"allows, {zero_a:g} A, and what shunt and converter can tell, {smallest_a:.2g} A.",
            "A supply that has died, or a current that offset hides, would look like the end.",
            f"Write {up(least_a)} at least, or {finer}." if fits else f"{finer.capitalize()}.",
        )


def _rest(charge: Charge) -> Iterator[Contradiction]:
    rest = charge.rest
    if rest.lowest_volts >= rest.highest_volts:
        low, high = (Rest.model_fields[key].default for key in ("lowest_volts", "highest_volts"))
        yield Contradiction(
            "charge.rest.lowest_volts",
            f"{rest.lowest_volts:g} V is not below charge.rest.highest_volts, "
            f"{rest.highest_volts:g} V.",
            "No rest could ever pass.",
            f"Write both where full cells come to rest: {low:g}, and {high:g} for highest_volts.",
        )
