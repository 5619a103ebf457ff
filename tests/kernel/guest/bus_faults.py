"""In the guest: a charge up to its trip, and a bus that fails, seen through the kernel."""

import errno
import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from daemon import Daemon
from machine import Machine, attempt, heal, knob, tell

FRONT, CURRENT = 0x48, 0x49
WATCHED_S = 10.0


def closed(folder: Path, cell_v: float = 3.30) -> tuple[Machine, Daemon]:
    machine = Machine("pulse")
    machine.cell_v = cell_v
    daemon = Daemon(folder, "pulse")
    daemon.wait_until_up()
    daemon.close()
    assert machine.wait(closed=True, for_s=5) is not None, "never closed"
    time.sleep(1)
    assert machine.is_closed, f"did not stay closed: {daemon.kept()}"
    return machine, daemon


def told(machine: Machine, daemon: Daemon, opened_in_s: float | None) -> dict[str, Any]:
    for _ in range(50):  # the story is written after the opening
        kept = daemon.kept()
        if kept["state"] == "locked":
            break
        time.sleep(0.1)
    lockout = kept.get("lockout") or {}
    return {
        "opened_in_s": opened_in_s,
        "latch": kept["state"],
        "tripped_by": lockout.get("tripped_by"),
        "reason": lockout.get("reason"),
        "still_open": not machine.is_closed,
    }


def while_closed(
    harm: Callable[[Machine], None], cell_v: float = 3.30
) -> Callable[[Path], dict[str, Any]]:
    """Do harm while closed; then see whether it opened, and why."""

    def case(folder: Path) -> dict[str, Any]:
        machine, daemon = closed(folder, cell_v)
        try:
            harm(machine)
            facts = told(machine, daemon, machine.wait(closed=False, for_s=WATCHED_S))
            return facts | {"circuit": daemon.ask("status")["circuit"]}
        finally:
            daemon.end()
            machine.end()

    return case


def survives(harm: Callable[[Machine], None]) -> Callable[[Path], dict[str, Any]]:
    """A thing so short that it must not open."""

    def case(folder: Path) -> dict[str, Any]:
        machine, daemon = closed(folder)
        try:
            harm(machine)
            opened_in_s = machine.wait(closed=False, for_s=5)
            return {"opened_in_s": opened_in_s, "circuit": daemon.ask("status")["circuit"]}
        finally:
            daemon.end()
            machine.end()

    return case


def fails_with(number: int) -> Callable[[Machine], None]:
    return lambda _: (knob(FRONT, "fails_with", number), None)[1]


def overvoltage(machine: Machine) -> None:
    """By hand, up to beyond the limit; the time counts from there."""
    while machine.cell_v < 3.62 and machine.is_closed:
        machine.cell_v += 0.00002
        time.sleep(0.05)


def hangs(_: Machine) -> None:
    knob(FRONT, "hangs_ms", 1000)


def while_deaf(folder: Path) -> dict[str, Any]:
    """The loop itself stands in the kernel: only its lease can drop the coil."""
    machine, daemon = closed(folder)
    deaf = Path("/sys/module/virtual_ads1115/parameters/deaf")
    try:
        deaf.write_text("1")
        hangs(machine)
        return {"opened_in_s": machine.wait(closed=False, for_s=WATCHED_S)}
    finally:
        heal()
        deaf.write_text("0")
        daemon.end()
        machine.end()


def one_error(_: Machine) -> None:
    knob(FRONT, "fails_with", errno.EREMOTEIO)
    time.sleep(0.01)
    knob(FRONT, "fails_with", 0)


def second_instance(folder: Path) -> dict[str, Any]:
    """Of the same circuit, and of another one that drives the same pins."""
    machine, daemon = closed(folder)
    try:
        same = Daemon(folder, "pulse")
        same_exit = same.wait()
        other = Daemon(folder / "other", "pulse")
        other_exit = other.wait()
        return {
            "same_exit": same_exit,
            "other_exit": other_exit,
            "other_said": other.said()[-600:],
            "still_closed": machine.is_closed,
        }
    finally:
        daemon.end()
        machine.end()


def not_there(old: str, new: str) -> Callable[[Path], dict[str, Any]]:
    """A start without the part."""

    def case(folder: Path) -> dict[str, Any]:
        daemon = Daemon(folder, "pulse", changes={old: new})
        exit_code = daemon.wait()
        daemon.end()
        return {"exit": exit_code, "said": daemon.said()[-800:]}

    return case


def chip_absent_at_start(folder: Path) -> dict[str, Any]:
    machine = Machine("pulse")
    knob(FRONT, "fails_with", errno.EREMOTEIO)
    daemon = Daemon(folder, "pulse")
    try:
        ended = daemon.wait(20)
        refused = daemon.ask("close") if ended is None else {}
        return {"exit": ended, "refused": refused, "said": daemon.said()[-800:]}
    finally:
        daemon.end()
        machine.end()


def read_only_folder(folder: Path) -> dict[str, Any]:
    """lgpio writes where it works; the daemon works in its own folder, whatever that one is."""
    machine = Machine("pulse")

    def work_there() -> None:
        os.chdir("/proc")

    daemon = Daemon(folder, "pulse", break_it=work_there)
    try:
        daemon.wait_until_up()
        daemon.close()
        return {"closed": machine.wait(closed=True, for_s=5) is not None}
    finally:
        daemon.end()
        machine.end()


CASES: dict[str, Callable[[Path], dict[str, Any]]] = {
    "charge to overvoltage": while_closed(overvoltage, cell_v=3.58),
    "one transfer fails": survives(one_error),
    "chip resets once": survives(lambda _: (knob(FRONT, "brown_out", 1), None)[1]),
    "EREMOTEIO for ever": while_closed(fails_with(errno.EREMOTEIO)),
    "EIO for ever": while_closed(fails_with(errno.EIO)),
    "ETIMEDOUT for ever": while_closed(fails_with(errno.ETIMEDOUT)),
    "ENXIO for ever": while_closed(fails_with(errno.ENXIO)),
    "each transfer hangs 1 s": while_closed(hangs),
    "a driver without a timeout": while_deaf,
    "converter twenty times as slow": while_closed(
        lambda _: (knob(FRONT, "slow_percent", 2000), None)[1]
    ),
    "result frozen": while_closed(lambda _: (knob(FRONT, "frozen", 1), None)[1]),
    "current chip gone": while_closed(lambda _: (knob(CURRENT, "fails_with", 121), None)[1]),
    "second instance": second_instance,
    "no such bus": not_there("# number: 1", "number: 7"),
    "chip absent at start": chip_absent_at_start,
    "read-only working folder": read_only_folder,
}


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        found: list[dict[str, Any]] = []
        for number, (name, case) in enumerate(CASES.items()):
            found.append({"case": name, **attempt(case, Path(folder) / str(number))})
            tell("bus_faults", found)


main()
