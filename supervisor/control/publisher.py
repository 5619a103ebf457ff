"""The status file: one small JSON on tmpfs, replaced in one step."""

import logging
from pathlib import Path
from typing import Protocol

from supervisor.snapshot import Snapshot

FILE_NAME = "status.json"
log = logging.getLogger(__name__)


class Publisher(Protocol):
    def publish(self, snapshot: Snapshot) -> None:
        """Never raises."""
        ...


class StatusFile:
    """``status.json`` in the run folder. A failure is logged once and never stops the loop."""

    def __init__(self, run_dir: Path) -> None:
        self._path = run_dir / FILE_NAME
        self._new = run_dir / (FILE_NAME + ".new")
        self._failing = False

    def publish(self, snapshot: Snapshot) -> None:
        try:
            text = snapshot.as_json()
            self._new.write_bytes(text.encode("utf-8", "replace"))  # half a character of a path
            self._new.replace(self._path)
        except (OSError, ValueError) as error:
            if not self._failing:
                log.error("status file %s cannot be written: %s", self._path, error)
            self._failing = True
        else:
            self._failing = False

    def remove(self) -> None:
        """After a clean end: no status is better than an old one."""
        self._path.unlink(missing_ok=True)


class LastSnapshot:
    """Keeps the newest snapshot in memory, for simulations and tests."""

    def __init__(self) -> None:
        self.snapshot: Snapshot | None = None

    def publish(self, snapshot: Snapshot) -> None:
        self.snapshot = snapshot
