"""The I2C bus: there, allowed, as fast as the settings say, and nobody else's."""

from collections.abc import Iterator
from pathlib import Path

from supervisor.host.check_answer import Answer, cannot_tell, fault, good, note, warning
from supervisor.host.check_host import Host
from supervisor.host.install_executable import as_root

READ_WRITE = 6
SWITCH_ON = "sudo raspi-config, Interface Options, I2C: on; then start the machine anew"
LINE = "dtparam=i2c_arm_baudrate={baud}"
# Where the device tree's node of an adapter is reached from.
NODES = (
    "/sys/bus/i2c/devices/i2c-{n}/of_node",
    "/sys/class/i2c-adapter/i2c-{n}/of_node",
    "/sys/class/i2c-dev/i2c-{n}/device/of_node",
)


def device(host: Host) -> Iterator[Answer]:
    path = _path(host)
    if host.machine.there(path):
        yield good(f"{path} is there")
        return
    others = ", ".join(host.machine.found("/dev/i2c-*"))
    where = "" if host.machine.is_pi else ", and this machine is no Raspberry Pi"
    yield fault(
        f"there is no {path}{where}",
        "No converter can be read: the daemon does not start.",
        f"Write bus.number in the settings; there are: {others}."
        if others
        else f"{SWITCH_ON}."
        if host.machine.is_pi
        else "Run it on a Raspberry Pi, or switch this board's I2C on.",
    )


def access(host: Host) -> Iterator[Answer]:
    if host.machine.there(_path(host)):
        yield from may_use(host, _path(host), "i2c")


def may_use(host: Host, path: str, group: str) -> Iterator[Answer]:
    """Whether the daemon's user may read and write a device."""
    told, user = host.machine.access(path), host.service_user
    if told is None:
        yield cannot_tell(f"who may use {path}: this user cannot look")
    elif user is None:
        yield cannot_tell(
            f"whether the daemon may use {path}: its user {host.unit.user} does not exist",
            remedy=f"{as_root('install-units')} makes that user.",
        )
    elif told.lets(user, READ_WRITE):
        yield good(f"{user.name} may read and write {path}")
    else:
        yield fault(
            f"{user.name} may not read and write {path} ({host.machine.owner_words(told)})",
            "The daemon does not start.",
            f"{as_root('install-units')} gives the device to the group {group}, and the group to "
            "the daemon; then start anew.",
        )


def speed(host: Host) -> Iterator[Answer]:
    if not host.machine.there(_path(host)):
        return
    hertz, set_hz = _hertz(host), host.bus.kilohertz * 1000
    if hertz is None:
        yield cannot_tell(
            f"how fast the kernel runs {_path(host)}: its device tree does not say",
            f"The settings count on {host.bus.kilohertz} kHz; a slower bus makes every cycle late.",
            "Look at the bus with an oscilloscope, or at loop_overrun in a dry run.",
        )
    elif host.settings and hertz < set_hz:
        yield fault(
            f"the kernel runs the bus at {hertz / 1000:g} kHz, bus.kilohertz says "
            f"{host.bus.kilohertz}",
            "Every response that `holdwatch check` promises is reckoned with a faster bus.",
            f"In config.txt: {LINE.format(baud=set_hz)}, then start anew; or write "
            "bus.kilohertz: 100.",
        )
    elif hertz >= 400_000 > set_hz:
        yield note(
            f"the kernel runs the bus at {hertz / 1000:g} kHz, bus.kilohertz says "
            f"{host.bus.kilohertz}",
            "Safe: the time is reckoned longer than it is.",
            "Write bus.kilohertz: 400, and see what `holdwatch check` promises then.",
        )
    elif hertz < 400_000:
        yield note(
            f"the bus runs at {hertz / 1000:g} kHz, as is the rule on Raspberry Pi OS",
            "At 400 kHz each transfer takes a quarter of the time: more readings in a window, and "
            "more time to spare. It takes short wires, and pull-ups and an isolator made for it.",
            f"If yours are: in config.txt {LINE.format(baud=400_000)}, start anew, and write "
            "bus.kilohertz: 400.",
        )
    else:
        yield good(f"the bus runs at {hertz / 1000:g} kHz")


def others(host: Host) -> Iterator[Answer]:
    """Who else has the bus open, or a kernel driver on one of our addresses."""
    if not host.machine.there(_path(host)):
        return
    yield from held_by_others(host, _path(host), "configures converters under the daemon's hands")
    for name, address in addresses(host).items():
        folder = f"/sys/bus/i2c/devices/{host.bus.number}-{address:04x}"
        if host.machine.there(folder):
            driver = host.machine.word(f"{folder}/name") or "a driver"
            yield warning(
                f"the kernel has a driver of its own at 0x{address:02X}: {driver}",
                "Two owners of one chip: readings are thrown away, and it may not close.",
                "Take its dtoverlay out of config.txt, then start anew.",
                about=name,
            )


def held_by_others(host: Host, path: str, harm: str) -> Iterator[Answer]:
    """Processes, other than the daemon, that have a device open."""
    processes, all_seen = host.machine.processes
    holders = [process for process in processes if path in process.holds]
    strangers = [process for process in holders if process.command != "run"]
    for process in strangers:
        yield warning(
            f"{process.told} has {path} open",
            f"A second program {harm}; what it spoils is not always found, and it may not close.",
            f"Stop it, and see what starts it: systemctl status {process.number}.",
            about=str(process.number),
        )
    if not all_seen:
        yield cannot_tell(
            f"whether others have {path} open: this user may not look at all processes",
            remedy=f"Run this as root: {as_root('host-check')}.",
        )
    elif not strangers:
        yield good(f"nobody but holdwatch has {path} open" if holders else f"{path} is free")


def addresses(host: Host) -> dict[str, int]:
    """By name: all that the settings put on the bus."""
    if host.settings is None:
        return {}
    found = {name: chip.address for name, chip in host.settings.converters.items()}
    probes = host.settings.probes.items()
    return found | {name: probe.address for name, probe in probes if probe.address is not None}


def _path(host: Host) -> str:
    return f"/dev/i2c-{host.bus.number}"


def _hertz(host: Host) -> int | None:
    nodes = (node.format(n=host.bus.number) for node in NODES)
    found = (host.machine.cell(Path(node, "clock-frequency")) for node in nodes)
    return next((hertz for hertz in found if hertz), None)


CHECKS = {"device": device, "access": access, "speed": speed, "others": others}
