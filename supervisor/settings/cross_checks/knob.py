"""Speed of the knob: its limits lie between an ordinary rise and what would be seen too late."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import KnobSpeed

SECONDS_PER_MINUTE = 60


def knob_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    rule = settings.protection.knob_speed
    if rule is not None:
        yield from _volts(settings, rule)
        yield from _amperes(settings, rule)


def _volts(settings: SupervisorSettings, rule: KnobSpeed) -> Iterator[Contradiction]:
    path, limit = "protection.knob_speed.trip_volts_per_second", rule.trip_volts_per_second
    fastest = settings.bank.fastest_rise_volts_per_second
    steep = settings.protection.rate_of_rise.trip_volts_per_minute / SECONDS_PER_MINUTE
    remedy = (
        f"Write a value between {steep:.3g} and {fastest:g}, such as {(steep + fastest) / 2:.3g}."
        if steep < fastest
        else f"First write rate_of_rise.trip_volts_per_minute: less than {60 * fastest:g}, the "
        "fastest rise; then a value between the two."
    )
    if limit >= fastest:
        yield Contradiction(
            path,
            f"{limit:g} V/s is not below bank.fastest_rise_volts_per_second, {fastest:g} V/s.",
            "By these settings no cell rises so fast: the rule would never trip on a voltage.",
            remedy,
        )
    if limit <= steep:
        yield Contradiction(
            path,
            f"{limit:g} V/s is not more than rate_of_rise.trip_volts_per_minute, {steep:.3g} V/s.",
            "Rate of rise allows that much at the steep end, and leaves the ordinary start of a "
            "charge alone: this rule would trip there.",
            remedy,
        )


def _amperes(settings: SupervisorSettings, rule: KnobSpeed) -> Iterator[Contradiction]:
    limit, over_s = rule.trip_amperes_per_second, rule.over_seconds
    trip = settings.protection.overcurrent.trip_amperes
    if limit * over_s >= trip:
        yield Contradiction(
            "protection.knob_speed.trip_amperes_per_second",
            f"{limit:g} A/s over {over_s:g} s are {limit * over_s:g} A, not less than "
            f"overcurrent.trip_amperes, {trip:g} A.",
            "From nothing to the overcurrent limit in that time would not be too fast: the rule "
            "would never trip.",
            f"Write less than {trip / over_s:.3g}, or a shorter over_seconds.",
        )
