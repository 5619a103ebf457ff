"""Limits of one stage: tighter than those that always count, and no looser later on."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.cross_checks.currents import smallest_amperes
from supervisor.settings.cross_checks.figures import FLOATS, up
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
    yield from _above_noise(settings, limits)
    yield from _tighter_than_always(settings, limits)
    yield from _no_looser_in_the_hold(settings, limits)


def _above_noise(settings: SupervisorSettings, limits: StageLimits) -> Iterator[Contradiction]:
    """What a shunt may show while nothing flows is no current that could be too much."""
    zero_a, smallest_a = _untold(settings)
    for name, limit_a in _amperes(limits).items():
        if limit_a < zero_a + smallest_a - FLOATS:
            yield Contradiction(
                f"{BLOCK}.{name}.trip_amperes",
                f"{limit_a:g} A cannot be told from the offset that sensing.zero_amperes allows, "
                f"{zero_a:g} A, and what shunt and converter can tell, {smallest_a:.2g} A.",
                "It would trip on a sound bank into which nothing flows.",
                _no_room(settings, limits, name)
                or f"Write {up(zero_a + smallest_a)} at least: more than the bank takes in the "
                f"{name}.",
            )


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
                _or_less(settings, limits, name),
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
            _or_less(settings, limits, "hold"),
        )


def _or_less(settings: SupervisorSettings, limits: StageLimits, name: str) -> str:
    most_a = settings.protection.overcurrent.trip_amperes
    if no_room := _no_room(settings, limits, name):
        return no_room
    taper_a = _amperes(limits).get("taper", most_a)
    if name == "hold" and taper_a < most_a:
        return f"Write {taper_a:g} or less, or leave it out: then that of the taper counts."
    return f"Write less than {most_a:g}."


def _no_room(settings: SupervisorSettings, limits: StageLimits, name: str) -> str:
    """What to do where no limit would do; empty where one would."""
    always_a = settings.protection.overcurrent.trip_amperes
    taper_a = _amperes(limits).get("taper", always_a)
    most_a = min(taper_a, always_a) if name == "hold" else always_a
    least_a = float(up(sum(_untold(settings))))
    if least_a < most_a:
        return ""
    return (
        f"Leave it out: nothing lies between {least_a:g} and {most_a:g} A. Or fit a shunt that "
        "tells less current, with a smaller zero_amperes."
    )


def _untold(settings: SupervisorSettings) -> tuple[float, float]:
    """Amperes that may show while nothing flows: an offset, and what cannot be told beside it."""
    return (
        settings.protection.sensing.zero_amperes,
        smallest_amperes(settings.channels.shunt),
    )


def _amperes(limits: StageLimits) -> dict[str, float]:
    """The limits on the current, of each stage that has one."""
    stages = {"taper": limits.taper, "hold": limits.hold}
    amperes = {name: stage.trip_amperes for name, stage in stages.items() if stage}
    return {name: limit_a for name, limit_a in amperes.items() if limit_a is not None}
