"""Limits of a session: each can be reached, and means what it says."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.model import SupervisorSettings

HEAD_ROOM = 1.2  # times the rating: new cells hold a little more than their plate says (practice)


def session_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    yield from _more_than_fits(settings)
    yield from _hold_voltage(settings)
    yield from _hold_time(settings)


def _more_than_fits(settings: SupervisorSettings) -> Iterator[Contradiction]:
    rule, rating_ah = settings.protection.session_charge, settings.bank.rating_ah
    if rule is not None and rule.trip_ampere_hours > HEAD_ROOM * rating_ah:
        yield Contradiction(
            "protection.session_charge.trip_ampere_hours",
            f"{rule.trip_ampere_hours:g} Ah is more than {HEAD_ROOM:g} times the bank's rating of "
            f"{rating_ah:g} Ah.",
            "So much never fits: the rule would act only after the bank is overcharged.",
            f"Write the rating, {rating_ah:g}, or less when the cells are not empty.",
        )


def _hold_voltage(settings: SupervisorSettings) -> Iterator[Contradiction]:
    rules, hold = settings.protection, settings.protection.session_hold
    if hold is None:
        return
    over, under = rules.overvoltage.trip_volts, rules.undervoltage.trip_volts
    if hold.above_volts >= over:
        yield Contradiction(
            "protection.session_hold.above_volts",
            f"{hold.above_volts:g} V is not below overvoltage.trip_volts, {over:g} V.",
            "Overvoltage trips there: no hold would ever be counted.",
            f"Write a value below {over:g}: where you hold the voltage, such as 3.50.",
        )
    if hold.above_volts <= under:
        yield Contradiction(
            "protection.session_hold.above_volts",
            f"{hold.above_volts:g} V is not above undervoltage.trip_volts, {under:g} V.",
            "The whole charge would count as hold.",
            "Write a value above the flat part of the charge, such as 3.50.",
        )


def _hold_time(settings: SupervisorSettings) -> Iterator[Contradiction]:
    hold, whole = settings.protection.session_hold, settings.protection.session_time
    if hold is not None and whole is not None and hold.trip_hours >= whole.trip_hours:
        yield Contradiction(
            "protection.session_hold.trip_hours",
            f"{hold.trip_hours:g} h is not less than session_time.trip_hours, "
            f"{whole.trip_hours:g} h.",
            "The hold is a part of the session: session_time would always come first.",
            f"Write less than {whole.trip_hours:g}, or allow the session more.",
        )
