"""The page's port: free, or the page's own."""

from collections.abc import Iterator

from supervisor.host.check_answer import Answer, cannot_tell, good, note, warning
from supervisor.host.check_host import Host
from supervisor.host.install_executable import as_root
from supervisor.settings.model import Web

TABLES = ("/proc/net/tcp", "/proc/net/tcp6")
LISTENS = "0A"  # TCP_LISTEN, include/net/tcp_states.h
FIRST_FREE = "/proc/sys/net/ipv4/ip_unprivileged_port_start"
NO_HARM = "The page is not served; the protection is not affected."


def port(host: Host) -> Iterator[Answer]:
    number = (host.settings.web if host.settings else Web()).port
    sockets = _listening(host, number)
    first_free = host.machine.number(FIRST_FREE)
    if sockets is None:
        yield cannot_tell(f"whether port {number} of the page is free: the kernel does not say")
    elif sockets:
        yield _taken(host, number, sockets)
    elif number < (1024 if first_free is None else first_free):
        yield warning(
            f"port {number} of the page is for root only",
            NO_HARM,
            "Write another web.port, 1024 or more.",
        )
    else:
        yield good(f"port {number} of the page is free")


def _taken(host: Host, number: int, sockets: set[str]) -> Answer:
    processes, all_seen = host.machine.processes
    owner = next((process for process in processes if sockets & {*process.holds}), None)
    if owner is None:
        return cannot_tell(
            f"whose port {number} is: somebody listens there, perhaps the page itself",
            remedy="" if all_seen else f"Run this as root: {as_root('host-check')}.",
        )
    if owner.command == "web":
        return good(f"the page is being served on port {number}")
    if owner.command:
        return note(f"{owner.told}, of holdwatch, listens on port {number}")
    return warning(
        f"{owner.told} listens on port {number}, which the page wants",
        NO_HARM,
        "Stop it, or write another web.port.",
    )


def _listening(host: Host, number: int) -> set[str] | None:
    """The sockets on that port, as the links of open files name them (proc_net(5))."""
    texts = [text for text in map(host.machine.text, TABLES) if text is not None]
    if not texts:
        return None
    rows = (line.split() for text in texts for line in text.splitlines()[1:])
    wanted = f":{number:04X}"
    return {
        f"socket:[{row[9]}]"
        for row in rows
        if len(row) > 9 and row[1].endswith(wanted) and row[3] == LISTENS
    }


CHECKS = {"port": port}
