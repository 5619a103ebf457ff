"""GPIO pins: fit for their purpose at power-on, and used once."""

from collections.abc import Iterator
from typing import NamedTuple

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.model import SupervisorSettings

PULLED_UP = range(9)  # GPIO 0 to 8 are pulled up from power-on until somebody sets them
I2C_PINS = (2, 3)
IDENTITY_PINS = (0, 1)
SERIAL_PINS = (14, 15)

_GOOD = "Use 16, 17 or 22 to 27: they are low from power-on and serve nothing else."


class Use(NamedTuple):
    """A pin in use; ``path`` is the block that has the key ``pin``."""

    path: str
    pin: int
    switches_power: bool


# Where dtoverlay=w1-gpio puts it unless told otherwise.
ONE_WIRE_PIN = 4


def used_pins(settings: SupervisorSettings) -> list[Use]:
    """Every pin in use, the outputs that switch power first."""
    panel, contactor = settings.panel, settings.contactor
    fitted = (
        ("contactor", contactor, True),
        ("mains_contactor", settings.mains_contactor, True),
        ("contactor.auxiliary", contactor.auxiliary, False),
        ("second_line", settings.second_line, False),
        ("panel.stop_button", panel.stop_button, False),
        ("panel.reset_button", panel.reset_button, False),
        ("panel.buzzer", panel.buzzer, False),
        ("panel.lamp", panel.lamp, False),
    )
    return [Use(path, part.pin, power) for path, part, power in fitted if part is not None]


def pin_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    owners: dict[int, str] = {}
    if any(probe.chip == "ds18b20" for probe in settings.probes.values()):
        owners[ONE_WIRE_PIN] = "the kernel's one-wire bus"
    for use in used_pins(settings):
        owner = owners.setdefault(use.pin, use.path)
        if owner != use.path:
            yield Contradiction(
                f"{use.path}.pin",
                f"GPIO {use.pin} is already used by {owner}.",
                "Two parts on one pin: one of them would not work, or would switch the other.",
                f"Give each its own pin. {_GOOD}",
            )
        elif reason := _unfit(use):
            problem, why = reason
            yield Contradiction(f"{use.path}.pin", problem, why, _GOOD)


def _unfit(use: Use) -> tuple[str, str] | None:
    """Problem and why of a pin that must not serve this use.

    Buttons, buzzer and lamp may use pins that are pulled up: a closed button pulls them down, and
    a buzzer that sounds until the program starts harms nobody.
    """
    if use.pin in I2C_PINS:
        return (
            f"GPIO {use.pin} is a wire of the I2C bus.",
            "The converters are read over it: nothing else can be connected there.",
        )
    if use.pin in IDENTITY_PINS:
        return (
            f"GPIO {use.pin} is driven while the Raspberry Pi starts, to look for add-on boards.",
            "Whatever is connected there switches, or disturbs the start.",
        )
    if use.pin in SERIAL_PINS:
        return (
            f"GPIO {use.pin} is a wire of the serial console; it goes high while the Raspberry Pi "
            "starts.",
            "An output there switches on by itself, and a button there shorts the console's "
            "output.",
        )
    if use.switches_power and use.pin in PULLED_UP:
        return (
            f"GPIO {use.pin} is high from power-on until the program starts.",
            "The contactor would be closed with nobody watching.",
        )
    return None
