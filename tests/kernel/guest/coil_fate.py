"""In the guest: how the coil fares when the process ends or stands, in every way we know."""

import os
import signal
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from daemon import Daemon
from machine import COIL, Machine, attempt, level, tell

from supervisor.control.loop import Loop

WATCHED_S = 4.0
GROUP = Path("/sys/fs/cgroup/daemon")


def plant_an_exception() -> None:
    """In the daemon's process: at the signal, the next cycle raises."""
    is_due = threading.Event()
    signal.signal(signal.SIGRTMIN, lambda *_: is_due.set())
    guided = Loop._be_guided

    def broken(*given: Any) -> None:
        if is_due.is_set():
            raise RuntimeError("planted by the test")
        guided(*given)

    Loop._be_guided = broken  # type: ignore[method-assign]


def by_signal(number: int) -> Any:
    return lambda daemon: daemon.signal(number)


def out_of_memory(_: Daemon) -> None:
    """The kernel's own killer: the group's limit is drawn in below what its process has."""
    (GROUP / "memory.max").write_text("100K")


def prepare() -> None:
    """In the daemon's process."""
    GROUP.mkdir(exist_ok=True)
    (GROUP / "memory.max").write_text("max")
    (GROUP / "cgroup.procs").write_text(str(os.getpid()))
    plant_an_exception()


CAUSES: dict[str, Any] = {
    "SIGTERM": by_signal(signal.SIGTERM),
    "SIGINT": by_signal(signal.SIGINT),
    "SIGHUP": by_signal(signal.SIGHUP),
    "SIGABRT": by_signal(signal.SIGABRT),
    "SIGKILL": by_signal(signal.SIGKILL),
    "SIGSEGV": by_signal(signal.SIGSEGV),
    "SIGSTOP": by_signal(signal.SIGSTOP),
    "unhandled exception": by_signal(signal.SIGRTMIN),
    "out of memory": out_of_memory,
}


def fate(drive: str, cause: str, folder: Path) -> dict[str, Any]:
    """``opened_in_s`` None: the contact was still closed after the watch."""
    machine = Machine(drive)
    daemon = Daemon(folder, drive, break_it=prepare)
    try:
        daemon.wait_until_up()
        daemon.close()
        assert machine.wait(closed=True, for_s=5) is not None, "never closed"
        time.sleep(1)
        assert machine.is_closed, f"did not stay closed: {daemon.kept()}"
        CAUSES[cause](daemon)
        opened_in_s = machine.wait(closed=False, for_s=WATCHED_S)
        ended = daemon.wait(WATCHED_S)
        latch = daemon.kept()
        return {
            "opened_in_s": opened_in_s,
            "pin_high": level(COIL),
            "exit": ended,
            "latch": latch["state"],
        }
    finally:
        daemon.end()
        machine.end()


def keeps_levels() -> bool:
    return Path("/sys/module/gpio_sim/parameters/persist").read_text().strip() == "Y"


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        found: list[dict[str, Any]] = []
        # What a pulse driver does is not up to the level: it is tried with levels that are kept.
        for drive in ("level", "pulse") if keeps_levels() else ("level",):
            for number, cause in enumerate(CAUSES):
                place = Path(folder) / f"{drive}{number}"
                found.append({"drive": drive, "cause": cause, **attempt(fate, drive, cause, place)})
                tell("coil_fate", found)


main()
