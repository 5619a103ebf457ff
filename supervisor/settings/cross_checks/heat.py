"""Limits on current over time: the inverse-time curve, and the heat of the supply's parts."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.model import SupervisorSettings


def heat_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    yield from _inverse_time(settings)
    yield from _heat(settings)


def _inverse_time(settings: SupervisorSettings) -> Iterator[Contradiction]:
    rule = settings.protection.overcurrent_inverse
    if rule is None:
        return
    definite_a = settings.protection.overcurrent.trip_amperes
    if rule.trip_amperes >= definite_a:
        yield Contradiction(
            "protection.overcurrent_inverse.trip_amperes",
            f"{rule.trip_amperes:g} A is not below overcurrent.trip_amperes, {definite_a:g} A.",
            "The curve is for the current that lasts below that limit: from so high, it would "
            "watch nothing that the limit does not.",
            f"Write a value below {definite_a:g}: a little more than the supply bears for long.",
        )
    if rule.curve.startswith("ieee") and "reset_seconds" in rule.model_fields_set:
        yield Contradiction(
            "protection.overcurrent_inverse.reset_seconds",
            f"With {rule.curve} this key says nothing.",
            "IEEE curves forget by a curve of their own: somebody would count on a time that does "
            "not hold.",
            "Take the key out, or choose a curve of IEC.",
        )


def _heat(settings: SupervisorSettings) -> Iterator[Contradiction]:
    rule = settings.protection.supply_thermal
    if rule is None:
        return
    definite_a = settings.protection.overcurrent.trip_amperes
    rms_a = rule.form_factor * definite_a
    parts = [part for part in (rule.rectifier, rule.transformer) if part is not None]
    weakest_a = min(part.continuous_amperes for part in parts)
    if weakest_a >= rms_a:
        yield Contradiction(
            "protection.supply_thermal",
            f"Its parts bear {weakest_a:g} A effective for ever, but overcurrent.trip_amperes, "
            f"{definite_a:g} A, is no more than {rms_a:g} A effective.",
            "The rule could never trip. Mostly that is a rectifier's bare rating, without the heat "
            "sink that it really has.",
            f"Write the continuous_amperes of the built supply, below {rms_a:g}; or, if it bears "
            "that, take the block out and say so below `without`.",
        )
