"""The service: its files as we wrote them, started with the machine."""

from collections.abc import Iterator
from pathlib import Path

from supervisor.host.check_answer import Answer, cannot_tell, fault, good, note, warning
from supervisor.host.check_host import Host
from supervisor.host.install_executable import as_root
from supervisor.host.unit_files import Found, State, in_force

STILL_WORKS = (State.EDITED, State.OTHER_VERSION, State.NOT_OURS, State.TWICE)
UNIT = "holdwatch@.service"  # without this one there is no service at all
NEEDRESTART = "/usr/sbin/needrestart"
WANTED_BY = "/etc/systemd/system/*.wants/holdwatch@{circuit}.service"


def files(host: Host) -> Iterator[Answer]:
    found = in_force(host.machine.root)
    sound = [file for file in found if file.state is State.IN_PLACE]
    missing = [file for file in found if file.state is State.MISSING]
    if len(missing) == len(found):
        yield fault(
            "the service is not installed: none of its files is there",
            "Nothing starts the daemon, and nothing starts it anew.",
            f"{as_root('install-units')}.",
        )
        return
    for file in found:
        if file not in sound:
            yield _told(host, file)
    if len(sound) == len(found):
        yield good(f"the service's {len(found)} files are as this version writes them")


def enabled(host: Host) -> Iterator[Answer]:
    links = host.machine.found(WANTED_BY.format(circuit=host.circuit or "*"))
    names = ", ".join(sorted({Path(link).name for link in links}))
    if links:
        yield good(f"{names} starts with the machine")
    elif not host.unit.is_there:
        yield cannot_tell("whether the daemon starts with the machine: there is no service")
    else:
        yield warning(
            "the daemon does not start with the machine",
            "After a power cut it is not there: the circuit is open, and nobody watches the bank.",
            f"sudo systemctl enable --now holdwatch@{host.circuit_or_name}",
        )


def restarted(host: Host) -> Iterator[Answer]:
    """By a program that restarts services after an upgrade (its settings: from memory)."""
    if host.machine.there(NEEDRESTART):
        yield note(
            "needrestart is there: it may restart the daemon after an upgrade",
            "That is safe, but opens the circuit, and the charge waits for somebody to close it.",
            "In /etc/needrestart/conf.d/holdwatch.conf: $nrconf{override_rc}{qr(^holdwatch@)} = 0;",
        )
    else:
        yield good("nothing here is known to restart services after an upgrade")


def _told(host: Host, file: Found) -> Answer:
    path = f"/{file.path.relative_to(host.machine.root)}"
    words = f"{path} is {file.state.value}" + (f": {file.detail}" if file.detail else "")
    remedy = (
        f"{file.remedy[:1].upper()}{file.remedy[1:]}."
        if file.remedy
        else f"{as_root('install-units')}."
    )
    if file.state is State.UNREADABLE:
        return cannot_tell(words, remedy=remedy, about=path)
    if file.state in STILL_WORKS:
        return warning(words, "It may not fit this version.", remedy, about=path)
    if file.path.name == UNIT:
        return fault(words, "Nothing starts the daemon.", remedy, about=path)
    return warning(words, "A part of it does not work.", remedy, about=path)


CHECKS = {"files": files, "enabled": enabled, "restarted": restarted}
