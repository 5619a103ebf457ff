"""What a build does without: rules that are off, parts that are not fitted, what to be wary of."""

from collections.abc import Iterator

from supervisor.settings.model import SupervisorSettings
from supervisor.settings.protection import Protection
from supervisor.sizing.least_charge import least_charge_cautions

SECOND_LINE = "second_line"


def off(settings: SupervisorSettings) -> dict[str, str]:
    """Rules that the risk needs and that are missing on purpose, with the reasons."""
    return settings.protection.without.reasons()


def not_fitted(settings: SupervisorSettings) -> tuple[str, ...]:
    """Optional rules that are not there, and need no reason."""
    rules = settings.protection
    missing = [name for name in Protection.model_fields if getattr(rules, name) is None]
    if settings.second_line is None:
        missing.append(SECOND_LINE)
    return tuple(name for name in missing if name not in off(settings))


def cautions(settings: SupervisorSettings) -> Iterator[str]:
    """What is allowed and still wants to be known."""
    if settings.second_line is None:
        yield "no second line: only software opens the contactor."
    if settings.contactor.drive == "level":
        yield (
            "drive is level: a process that is killed or stopped, or a kernel that hangs, may "
            "leave the coil on; with pulse it lets go."
        )
    if settings.contactor.auxiliary is None:
        yield (
            "no auxiliary contact: a weld is not seen while less than "
            f"{settings.protection.failed_to_open.current_amperes:g} A flow; nor is a contact that "
            "opens by itself, and may close by itself later."
        )
    if settings.channels.far_cell is None:
        yield "no far_cell: one voltage alone cannot show that a link has opened."
    temperature = settings.protection.temperature
    if temperature is not None and temperature.cells_below_celsius is None:
        yield (
            "no cells_below_celsius: nobody watches that the cells are not charged near freezing, "
            "which ruins them."
        )
    yield from least_charge_cautions(settings)
    if settings.uncommissioned is None:
        yield "it closes only with a commissioning record of these settings (holdwatch commission)."
    else:
        yield (
            "uncommissioned is accepted: it closes although nobody may have tried this build with "
            "these settings. On a real build run holdwatch commission, and take that key and its "
            "reason out."
        )
