"""In the guest, under systemd: how the coil fares when the unit's process ends or stands."""

import os
import re
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from machine import COIL, Machine, attempt, knob, level, settings_text, tell
from service import CGROUPS, Service

WATCHED_S = 10.0
DEAF = Path("/sys/module/virtual_ads1115/parameters/deaf")
FRONT = 0x48
HANGS_MS = 8000  # longer than the watchdog
UP = {"ActiveState": "active", "SubState": "running"}


def by_signal(number: int) -> Callable[[Service, int], None]:
    return lambda _, pid: os.kill(pid, number)


def driver_hangs(*_: Any) -> None:
    """In the kernel, where no signal reaches it, whatever timeout the bus was given."""
    DEAF.write_text("1")
    knob(FRONT, "hangs_ms", HANGS_MS)


def heal_driver() -> None:
    DEAF.write_text("0")
    knob(FRONT, "hangs_ms", 0)


def out_of_memory(service: Service, pid: int) -> None:
    """The kernel's own killer, at the group's limit; wide again for what comes after."""
    limit = CGROUPS / "system-holdwatch.slice" / service.unit / "memory.max"
    before = limit.read_text()
    limit.write_text("100K")
    while _has_memory(pid):
        time.sleep(0.004)
    limit.write_text(before)


def _has_memory(pid: int) -> bool:
    try:
        return bool(Path(f"/proc/{pid}/maps").read_bytes())
    except OSError:  # reaped
        return False


def systemctl(verb: str) -> Callable[[Service, int], None]:
    return lambda service, _: (service.systemctl(verb, "--no-block"), None)[1]


CAUSES: dict[str, Callable[[Service, int], None]] = {
    "SIGKILL": by_signal(signal.SIGKILL),
    "SIGSEGV": by_signal(signal.SIGSEGV),
    "out of memory": out_of_memory,
    "SIGSTOP": by_signal(signal.SIGSTOP),
    "systemctl restart": systemctl("restart"),
    "systemctl stop": systemctl("stop"),
    "SIGTERM": by_signal(signal.SIGTERM),
    "bus driver hangs": driver_hangs,
}
STOPS = ("systemctl stop", "SIGTERM")


def settings() -> str:
    """As ever; but after a kill nobody knows how hot the supply is, and that takes minutes."""
    text = settings_text("level", {"# supply_thermal: none": "supply_thermal: No time to cool"})
    text = re.sub(r"\n  supply_thermal:\n.*?\n\n", "\n", text, count=1, flags=re.S)
    return re.sub(r"\nprofiles:.*", "", text, flags=re.S)


def fate(machine: Machine, service: Service, cause: str) -> dict[str, Any]:
    """Times count from the harm. ``opened_in_s`` None: still closed after the watch."""
    if service.shown()["ActiveState"] != "active":
        service.start()
    service.close()
    assert machine.wait(closed=True, for_s=5) is not None, "never closed"
    time.sleep(1)
    assert machine.is_closed, f"did not stay closed: {service.kept()}"
    before = service.shown()
    restarts = int(before["NRestarts"])
    began_s = time.monotonic()
    CAUSES[cause](service, int(before["MainPID"]))
    opened_in_s = machine.wait(closed=False, for_s=WATCHED_S)
    facts = {"opened_in_s": opened_in_s and machine.changed_at_s - began_s}
    heal_driver()
    if cause in STOPS:
        ended = service.wait(ActiveState="inactive")
    elif cause == "systemctl restart":
        ended = service.shown()
        service.wait(**UP)
    else:
        ended = service.wait(SubState="auto-restart")
        service.wait(**UP, NRestarts=str(restarts + 1))
    up = ended["ActiveState"] != "inactive"
    return facts | {
        "result": ended["Result"],
        "status": ended["ExecMainStatus"],
        "by_itself": int(service.shown()["NRestarts"]) > restarts,
        "up_in_s": time.monotonic() - began_s if up else None,
        "circuit": service.settled() if up else None,
        "latch": service.kept()["state"],
        "pin_high": level(COIL),
        "closed_again": machine.is_closed,
        "said": service.said()[-1500:],
    }


def main() -> None:
    machine = Machine("level", tick_s=0.01)
    service = Service("hut", settings())
    found: list[dict[str, Any]] = []
    for cause in CAUSES:
        began_s = time.monotonic()
        facts = attempt(fate, machine, service, cause)
        heal_driver()
        found.append({"cause": cause, "took_s": time.monotonic() - began_s, **facts})
        tell("systemd_coil", found)


main()
