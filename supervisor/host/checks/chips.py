"""The chips of the settings answer: asked once each, and never beside a daemon at work."""

from collections.abc import Iterator

from supervisor.devices.errors import HardwareMissing
from supervisor.devices.one_wire import ROOT as ONE_WIRE
from supervisor.devices.protocols import I2CBus
from supervisor.host.check_answer import Answer, cannot_tell, fault, good, note, warning
from supervisor.host.check_host import Host
from supervisor.host.checks.bus import addresses
from supervisor.host.install_executable import as_root
from supervisor.settings.model import SupervisorSettings
from supervisor.status.status_file import current

SINGLE_SHOT = 0x0100  # of the configuration; a converter that stops after each conversion
HELD_LOW, HELD_HIGH = 0x0000, 0xFFFF  # what a bus reads whose wires do not move
WIRING = "Look at its supply, its isolator, the wires and the ADDR pin: i2cdetect -y {bus}."


def answering(host: Host) -> Iterator[Answer]:
    """One read of the configuration register each; nothing else moves on the bus."""
    if host.settings is None:
        yield cannot_tell("whether the converters answer: no settings say where they are")
    elif host.another_at_work:
        yield cannot_tell(
            f"whether the converters answer: another holdwatch is at work in "
            f"{host.another_at_work}: the bus may be in use, so it is left alone",
            remedy="Run this again when that one has ended.",
        )
    elif host.at_work:
        yield from _by_the_daemon(host)
    elif (answer := _why_not_touched(host)) is not None:
        yield answer
    else:
        yield from _asked(host, host.settings)


def one_wire(host: Host) -> Iterator[Answer]:
    probes = host.settings.probes.items() if host.settings else ()
    for name, serial in ((name, probe.serial) for name, probe in probes if probe.serial):
        if host.machine.there(ONE_WIRE / serial):
            yield good(f"probe {name} ({serial}) is on the one-wire bus", about=name)
        else:
            yield fault(
                f"probe {name} ({serial}) is not on the one-wire bus",
                "It cannot close: a temperature that is missing counts as too hot.",
                f"ls {ONE_WIRE}; dtoverlay=w1-gpio in config.txt; wire, pull-up and number.",
                about=name,
            )


def _by_the_daemon(host: Host) -> Iterator[Answer]:
    """It has the bus: what it says counts, as far as it says something."""
    at = host.at_work
    status = current(host.machine.at(at or host.run_dir))
    if status.snapshot is None or not status.fresh:
        yield cannot_tell(
            f"whether the converters answer: a daemon is or may be at work ({at}), and "
            f"the bus is its own; what it says: {status.problem}",
            remedy="See `holdwatch status`; as root this command can tell more.",
        )
    elif status.snapshot.simulated:
        yield cannot_tell(
            f"whether the converters answer: a simulated run is at work ({at})",
            remedy="End it, then run this again.",
        )
    else:
        for channel in status.snapshot.channels:
            name = channel.channel.replace("_", " ")
            if channel.value is None:
                yield fault(
                    f"the daemon at work ({at}) has no reading of the {name}: {channel.quality}",
                    "It does not close, or has opened.",
                    "See `holdwatch status`, then the wiring of that channel.",
                    about=channel.channel,
                )
            else:
                yield good(f"the daemon at work ({at}) reads the {name}", about=channel.channel)


def _why_not_touched(host: Host) -> Answer | None:
    path = f"/dev/i2c-{host.bus.number}"
    processes, all_seen = host.machine.processes
    users = [process.told for process in processes if path in process.holds]
    if not host.machine.there(path):
        return cannot_tell(f"whether the converters answer: there is no {path}")
    if users:
        return cannot_tell(
            f"whether the converters answer: {', '.join(users)} has the bus",
            remedy="Stop it, then run this again.",
        )
    if not all_seen:
        return cannot_tell(
            "whether the converters answer: nobody is asked while another program might use the "
            "bus, and this user may not look at all of them",
            remedy=f"Run this as root: {as_root('host-check')}.",
        )
    return None


def _asked(host: Host, settings: SupervisorSettings) -> Iterator[Answer]:
    try:
        bus = host.kernel.open_bus(host.bus.number, host.bus.deadline_milliseconds / 1000)
    except HardwareMissing as missing:
        yield cannot_tell(f"whether the converters answer: {missing.problem}")
        return
    try:
        for name, address in addresses(host).items():
            try:
                config = _configuration(bus, address)
            except OSError as error:
                yield _silent(host, name, address, error)
                continue
            if name in settings.converters:
                yield _judged(host, settings, name, address, config)
            else:
                yield good(f"{name} answers at 0x{address:02X}", about=name)
    finally:
        bus.close()


def _configuration(bus: I2CBus, address: int) -> int:
    """Moves nothing but the chip's pointer. Raises OSError."""
    from supervisor.devices.converter import CONFIG  # noqa: PLC0415  # its driver needs /proc

    answer = bytearray(2)
    bus.writeto_then_readfrom(address, bytes([CONFIG]), answer)
    return int.from_bytes(answer, "big")


def _silent(host: Host, name: str, address: int, error: OSError) -> Answer:
    return fault(
        f"{name} does not answer at 0x{address:02X} ({(error.strerror or str(error)).lower()})",
        "It cannot close without that chip.",
        WIRING.format(bus=host.bus.number),
        about=name,
    )


def _judged(
    host: Host, settings: SupervisorSettings, name: str, address: int, config: int
) -> Answer:
    """By the configuration alone: that it keeps what is written to it, the daemon proves."""
    from supervisor.devices.converter import (  # noqa: PLC0415  # its driver needs /proc
        CONFIG_AFTER_RESET,
        NOT_CONVERTING,
    )

    where = f"{name} at 0x{address:02X}"
    if config in (HELD_LOW, HELD_HIGH):
        return fault(
            f"{where} reads {config:04X}h: wires that do not move, not a converter",
            "It cannot close without that chip.",
            WIRING.format(bus=host.bus.number),
            about=name,
        )
    if config == CONFIG_AFTER_RESET:
        return good(f"{where} answers, as after power-on", about=name)
    line = settings.second_line
    is_second_line = line is not None and line.converter == name
    if config & SINGLE_SHOT and not config & NOT_CONVERTING:
        return warning(
            f"{where} answers as something else: {config:04X}h",
            "A converter would say that no conversion is under way; this is another chip, or "
            "another program has just used it.",
            "Run this again; then compare the marking of the chip, and the ADDR pin.",
            about=name,
        )
    if not config & SINGLE_SHOT and not is_second_line:
        return note(
            f"{where} converts without end ({config:04X}h): another program left it so",
            "Harmless: the daemon configures it anew.",
            about=name,
        )
    return good(f"{where} answers ({config:04X}h, as a run left it)", about=name)


CHECKS = {"answering": answering, "one_wire": one_wire}
