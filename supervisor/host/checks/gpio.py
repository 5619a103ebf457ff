"""The pins: the chip, who may use it, what a dead owner leaves behind, and who else wants them."""

import re
from collections.abc import Iterator

from supervisor.devices.pins import RASPBERRY_PI_LABELS
from supervisor.host.check_answer import Answer, cannot_tell, fault, good, note, warning
from supervisor.host.check_host import Host
from supervisor.host.checks.bus import held_by_others, may_use
from supervisor.host.install_executable import as_root
from supervisor.settings.cross_checks.pins import ONE_WIRE_PIN, Use, used_pins

KEPT = "/sys/module/pinctrl_*/parameters/persist_gpio_outputs"
STRICT = "strict_gpiod"
# Pins of the header that a line of config.txt gives away (Raspberry Pi documentation, memory).
GIVEN_AWAY = {
    "i2c_arm": ((2, 3), "the I2C bus"),
    "spi": (range(7, 12), "SPI"),
    "i2s": (range(18, 22), "digital sound"),
}
LOW_AT_POWER_ON = (16, 17, *range(22, 28))  # and free of other uses (hardware page)
HIGH_WORDS, LOW_WORDS = {"dh", "pu"}, {"dl"}  # of a gpio= line


def chip(host: Host) -> Iterator[Answer]:
    labels = _wanted(host)
    path, seen = _chip(host)
    if path:
        yield good(f"{path} is the header's chip ({seen[path]})")
    elif not seen:
        yield fault(
            "there is no GPIO chip" + ("" if host.machine.is_pi else ": this is no Raspberry Pi"),
            "No contactor can be driven: the daemon does not start.",
            "Run it on a Raspberry Pi.",
        )
    elif all(not label for label in seen.values()):
        yield cannot_tell(
            f"which GPIO chip is the header's: this user may not ask {', '.join(seen)}",
            remedy=f"Run this as root: {as_root('host-check')}.",
        )
    else:
        found = ", ".join(f"{path} ({label or 'cannot be asked'})" for path, label in seen.items())
        yield fault(
            f"no GPIO chip is labelled {' or '.join(labels)}; there are: {found}",
            "The daemon does not start.",
            "Write gpio.chip_label, one of those; or run it on a Raspberry Pi.",
        )


def access(host: Host) -> Iterator[Answer]:
    path, seen = _chip(host)
    if path or len(seen) == 1:
        yield from may_use(host, path or next(iter(seen)), "gpio")
    elif seen:
        yield cannot_tell("whether the daemon may use the pins: the header's chip is not known")


def kept_level(host: Host) -> Iterator[Answer]:
    """What becomes of the coil when the daemon dies; hardware/coil-fate.md has the whole table."""
    drive = host.settings.contactor.drive if host.settings else None
    words = [w for p in host.machine.found(KEPT) if (w := host.machine.word(p)) in ("Y", "N")]
    if drive == "pulse":
        yield good("pulse drive: a dead process, or a kernel that hangs, lets the coil go")
    elif not words:
        yield cannot_tell(
            "whether the kernel keeps the level of a pin whose process has died"
            + ("" if host.machine.is_pi else ": this machine is no Raspberry Pi"),
            "With level drive, kept means that the coil stays on after a kill.",
            "Build the pulse driver; or try it: kill -9 the daemon with the supply off.",
        )
    elif "Y" in words:
        yield _kept(host, is_level=drive is not None)
    elif drive:
        yield warning(
            "level drive: the kernel lets a dead process's pin go, but not that of one that stands",
            "A process that is stopped, or a kernel that hangs, leaves the coil on.",
            "Build the pulse driver, or a second line; be near while it is closed.",
        )
    else:
        yield good("the kernel lets go of a pin whose process has died")


def _kept(host: Host, *, is_level: bool) -> Answer:
    is_said = host.config_txt is not None and host.config_txt.parameter(STRICT) is not None
    means = "With level drive, the coil stays on after kill -9, a crash or out of memory"
    return (fault if is_level and not host.unit.drops else warning)(
        "the kernel keeps the level of a pin whose process has died"
        + (f", though config.txt says dtparam={STRICT}" if is_said else ""),
        f"{means}, until the service drops it (`holdwatch drop`), which takes a moment; and in a "
        "process that stands, or a kernel that hangs, for good."
        if host.unit.drops
        else f"{means}, and nothing ends that.",
        "Start the machine anew, so that config.txt counts."
        if is_said
        else f"Build the pulse driver; or add dtparam={STRICT} to config.txt and start anew.",
    )


def power_on(host: Host) -> Iterator[Answer]:
    """The outputs that switch power are low before the daemon is there."""
    for use in _uses(host, only_power=True):
        words = host.config_txt.at_power_on(use.pin) if host.config_txt else ()
        if {*words} & HIGH_WORDS:
            yield fault(
                f"config.txt makes GPIO {use.pin} ({use.path}) {', '.join(words)}",
                "It goes high before any program runs: it would switch on with nobody watching.",
                f"Take that line out, or write gpio={use.pin}=op,dl.",
                about=use.path,
            )
        elif {*words} & LOW_WORDS:
            yield good(f"GPIO {use.pin} ({use.path}) is held low by config.txt", about=use.path)
        elif not host.machine.is_pi:
            yield cannot_tell(
                f"what GPIO {use.pin} ({use.path}) does at power-on: not a Raspberry Pi",
                about=use.path,
            )
        elif use.pin not in LOW_AT_POWER_ON:
            yield warning(
                f"GPIO {use.pin} ({use.path}) has other uses on a Raspberry Pi",
                "Whatever takes it moves it before the daemon is there.",
                "Use 16, 17 or 22 to 27.",
                about=use.path,
            )
        else:
            yield note(
                f"GPIO {use.pin} ({use.path}) is pulled low from power-on by the chip alone",
                "Weakly: the driver's own pull-down is what counts.",
                f"You may add to config.txt: gpio={use.pin}=op,dl.",
                about=use.path,
            )


def taken(host: Host) -> Iterator[Answer]:
    """Pins of the settings that config.txt, or somebody's program, uses for something else."""
    if host.settings is None:
        yield cannot_tell("whether the pins are free: no settings say which")
        return
    claims = list(_claims(host))
    yield from claims
    yield from _lines(host, quiet=bool(claims))


def others(host: Host) -> Iterator[Answer]:
    path, _ = _chip(host)
    if path:
        yield from held_by_others(host, path, "may move pins")


def _claims(host: Host) -> Iterator[Answer]:
    if host.config_txt is None:
        return
    for use in _uses(host):
        for name, (pins, what) in GIVEN_AWAY.items():
            if use.pin in pins and host.config_txt.parameter(name) in ("on", "true", "1"):
                yield _claimed(use, f"dtparam={name}", what)
        for overlay in host.config_txt.overlays():
            if use.pin in _pins_of(overlay):
                yield _claimed(use, f"dtoverlay={overlay}", "an overlay")


def _claimed(use: Use, line: str, what: str) -> Answer:
    return fault(
        f"GPIO {use.pin} ({use.path}) is given to {what} by config.txt: {line}",
        "Two wills on one pin: the daemon does not start, or the pin does what it likes.",
        "Take that line out and start anew, or write another pin.",
        about=use.path,
    )


def _lines(host: Host, *, quiet: bool) -> Iterator[Answer]:
    path, seen = _chip(host)
    if path is None:
        if seen:
            yield cannot_tell("whether the pins are free: the header's chip cannot be asked")
        return
    if host.at_work and not host.another_at_work:
        yield good(f"a daemon is at work ({host.at_work}): the pins are its own")
        return
    uses = list(_uses(host))
    lines = [(use, host.kernel.line(host.machine.at(path), use.pin)) for use in uses]
    for use, line in lines:
        if line.is_used:
            yield fault(
                f"GPIO {use.pin} ({use.path}) is in use already, by {line.user or 'the kernel'}",
                "The daemon does not get it, and does not start.",
                "Stop what uses it: a program, or an overlay in config.txt; or write another pin.",
                about=use.path,
            )
    if not quiet and not any(line.is_used for _, line in lines):
        yield good(f"the pins are free: GPIO {', '.join(str(use.pin) for use in uses)}")


def _wanted(host: Host) -> tuple[str, ...]:
    label = host.settings.gpio.chip_label if host.settings else None
    return (label,) if label else RASPBERRY_PI_LABELS


def _chip(host: Host) -> tuple[str | None, dict[str, str]]:
    """The device of the header's chip, and of every chip the label; empty: it cannot be asked."""
    seen = {}
    for path in host.machine.found("/dev/gpiochip*"):
        try:
            seen[path] = host.kernel.chip_label(host.machine.at(path))
        except OSError:
            seen[path] = ""
    labels = _wanted(host)
    return next((path for path, label in seen.items() if label in labels), None), seen


def _uses(host: Host, *, only_power: bool = False) -> list[Use]:
    uses = used_pins(host.settings) if host.settings else []
    return [use for use in uses if use.switches_power or not only_power]


def _pins_of(overlay: str) -> set[int]:
    """Those an overlay names, such as ``gpiopin=5``; the one-wire bus has one of its own."""
    name, *words = overlay.split(",")
    pins = {
        int(found[1])
        for word in words
        if (found := re.fullmatch(r"\w*(?:pin|gpio)\w*=(\d{1,3})", word.strip(), re.ASCII))
    }
    return pins or ({ONE_WIRE_PIN} if name.startswith("w1-gpio") else set())


CHECKS = {
    "chip": chip,
    "access": access,
    "kept_level": kept_level,
    "power_on": power_on,
    "taken": taken,
    "others": others,
}
