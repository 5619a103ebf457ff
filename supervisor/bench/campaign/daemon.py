"""What the daemon says of itself, and what it would find at its next start."""

import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from supervisor.control.latch import FILE_NAME
from supervisor.control.loop import Loop
from supervisor.snapshot import Circuit, Snapshot

NONE = "none"  # a first start: nothing was


class LatchFile:
    """Read anew only when it was replaced: it is looked at after every cycle."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE_NAME
        self._seen: tuple[int, int] | None = None
        self._state = NONE

    @property
    def state(self) -> str:
        """``clear``, ``armed``, ``locked``, or ``none``."""
        try:
            found = os.stat(self._path)
        except FileNotFoundError:
            return NONE
        if (found.st_ino, found.st_mtime_ns) != self._seen:
            self._seen = (found.st_ino, found.st_mtime_ns)
            self._state = str(json.loads(self._path.read_text("utf-8"))["state"])
        return self._state


@dataclass(frozen=True, slots=True)
class Daemon:
    """Its word; judged against the parts and the file, never believed alone."""

    loop: Callable[[], Loop]
    snapshot: Callable[[], Snapshot | None]
    latch: LatchFile

    @property
    def circuit(self) -> Circuit:
        return self.loop().guard.circuit
