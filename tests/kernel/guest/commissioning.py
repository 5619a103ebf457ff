"""In the guest: the commissioning of coil, contact and kill, on the kernel's own pins and bus."""

import tempfile
from pathlib import Path
from typing import Any

from hands import walked
from machine import Machine, attempt, tell

DRIVES = ("pulse", "level")
RELEASE_S = 0.005  # and this bench looks at its pins fifty times a second


def commissioned(drive: str) -> dict[str, Any]:
    machine = Machine(drive, release_s=RELEASE_S)
    try:
        with tempfile.TemporaryDirectory() as folder:
            return walked(machine, Path(folder))
    finally:
        machine.end()


def main() -> None:
    found: list[dict[str, Any]] = []
    for drive in DRIVES:
        found.append({"drive": drive, **attempt(commissioned, drive)})
        tell("commissioning", found)


main()
