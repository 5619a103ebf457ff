"""Limits of one stage: tighter than those that always count, and no looser later on."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import StageLimits

BLOCK = "protection.stage_limits"


def stage_limit_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    limits = settings.protection.stage_limits
    if limits is None:
        return
    if settings.charge is None:
        yield Contradiction(
            BLOCK,
            "It needs a charge block: there stand the voltages at which the stages begin.",
            "Nobody would know when a tighter limit counts.",
            "Write charge, or leave stage_limits out.",
        )
    hold = limits.hold
    if limits.taper is None and (hold is None or hold.trip_amperes is hold.trip_volts is None):
        yield Contradiction(
            BLOCK,
            "Neither taper nor hold has a limit.",
            "A rule without a limit never trips, and looks as if it were there.",
            "Write one of them, or leave stage_limits out.",
        )
    yield from _tighter_than_always(settings, limits)
    yield from _no_looser_in_the_hold(settings, limits)


def _tighter_than_always(
    settings: SupervisorSettings, limits: StageLimits
) -> Iterator[Contradiction]:
    most_a = settings.protection.overcurrent.trip_amperes
    for name, limit_a in _amperes(limits).items():
        if limit_a >= most_a:
            yield Contradiction(
                f"{BLOCK}.{name}.trip_amperes",
                f"{limit_a:g} A is not below overcurrent.trip_amperes, {most_a:g} A.",
                "It would not be tighter: overcurrent always comes first.",
                _or_less(limits, name, most_a),
            )
    over_v = settings.protection.overvoltage.trip_volts
    hold_v = limits.hold.trip_volts if limits.hold else None
    if hold_v is not None and hold_v >= over_v:
        yield Contradiction(
            f"{BLOCK}.hold.trip_volts",
            f"{hold_v:g} V is not below overvoltage.trip_volts, {over_v:g} V.",
            "It would not be tighter: overvoltage always comes first.",
            f"Write less than {over_v:g}.",
        )


def _no_looser_in_the_hold(
    settings: SupervisorSettings, limits: StageLimits
) -> Iterator[Contradiction]:
    most_a = settings.protection.overcurrent.trip_amperes
    amperes = _amperes(limits)
    taper_a, hold_a = amperes.get("taper", most_a), amperes.get("hold", 0.0)
    if taper_a < hold_a < most_a:
        yield Contradiction(
            f"{BLOCK}.hold.trip_amperes",
            f"{hold_a:g} A is above that of the taper, {taper_a:g} A.",
            "The hold comes after the taper and takes less: more current would be allowed just "
            "where the end is nearest.",
            _or_less(limits, "hold", most_a),
        )


def _or_less(limits: StageLimits, name: str, most_a: float) -> str:
    taper_a = _amperes(limits).get("taper", most_a)
    if name == "hold" and taper_a < most_a:
        return f"Write {taper_a:g} or less, or leave it out: then that of the taper counts."
    return f"Write less than {most_a:g}."


def _amperes(limits: StageLimits) -> dict[str, float]:
    """The limits on the current, of each stage that has one."""
    stages = {"taper": limits.taper, "hold": limits.hold}
    amperes = {name: stage.trip_amperes for name, stage in stages.items() if stage}
    return {name: limit_a for name, limit_a in amperes.items() if limit_a is not None}
