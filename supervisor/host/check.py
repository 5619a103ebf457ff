"""Is this machine fit to run the daemon unattended? Every check, and one answer of all of them."""

import threading
from collections.abc import Callable, Iterable, Iterator, Mapping

from supervisor.host.check_answer import Answer, Finding, State, cannot_tell
from supervisor.host.check_host import Host
from supervisor.host.checks import (
    bus,
    chips,
    clock,
    disk,
    folders,
    gpio,
    kernel,
    page,
    power,
    program,
    protection,
    settings,
    units,
    users,
    watchdog,
)

Check = Callable[[Host], Iterable[Answer]]
# By the first part of a finding's id: the group as it is shown, and its checks by the second.
Groups = Mapping[str, tuple[str, Mapping[str, Check]]]

PATIENCE_S = 1.0
GROUPS: Groups = {
    "settings": ("Settings", settings.CHECKS),
    "bus": ("I2C bus", bus.CHECKS),
    "chips": ("Converters and probes", chips.CHECKS),
    "gpio": ("Pins", gpio.CHECKS),
    "power": ("Power and heat", power.CHECKS),
    "disk": ("Disk", disk.CHECKS),
    "folders": ("Folders and files", folders.CHECKS),
    "users": ("Users", users.CHECKS),
    "units": ("Service", units.CHECKS),
    "protection": ("Service", protection.CHECKS),
    "program": ("Program", program.CHECKS),
    "watchdog": ("Hardware watchdog", watchdog.CHECKS),
    "kernel": ("Kernel", kernel.CHECKS),
    "page": ("Page", page.CHECKS),
    "clock": ("Clock", clock.CHECKS),
}


def examine_host(
    host: Host, patience_s: float = PATIENCE_S, groups: Groups = GROUPS
) -> list[Finding]:
    """The findings of all checks, the worst first. Raises nothing, and waits for no check long."""
    found = [
        Finding(f"{key}.{name}", a.about, group, a.state, a.found, a.means, a.remedy)
        for key, (group, checks) in groups.items()
        for name, check in checks.items()
        for a in _answers(f"{key}.{name}", check, host, patience_s)
    ]
    worst_first = list(State)
    return sorted(found, key=lambda finding: worst_first.index(finding.state))


def count(findings: Iterable[Finding], state: State) -> int:
    return sum(finding.state is state for finding in findings)


def _answers(name: str, check: Check, host: Host, patience_s: float) -> Iterator[Answer]:
    """In a thread of its own: a disk or a bus that hangs takes no more than that with it."""
    told: list[Answer] = []

    def look() -> None:
        try:
            told.extend(check(host))
        except Exception as error:
            told.append(cannot_tell(f"{name}: the look at it failed ({error!r:.200})"))

    thread = threading.Thread(target=look, daemon=True)
    thread.start()
    thread.join(patience_s)
    yield from list(told)
    if thread.is_alive():
        yield cannot_tell(
            f"{name}: no answer within {patience_s:g} s",
            "Something that it looks at hangs, or the machine is very busy.",
            "Run this again; then look at the disk and at the kernel's log: sudo dmesg.",
        )
