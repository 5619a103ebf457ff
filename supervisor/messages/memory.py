"""What must not be forgotten over a restart: how far the journal was read, what was told, what
waits to be sent. One small file, replaced in one step, on the medium before anything is sent.
"""

import json
import logging
import os
from dataclasses import asdict, dataclass, field
from pathlib import Path

from pydantic import TypeAdapter

from supervisor.messages.outbox import OutboxKept
from supervisor.messages.present import PresentKept
from supervisor.messages.story import StoryKept
from supervisor.messages.tail import Position

log = logging.getLogger(__name__)
FILE_NAME = "messages.json"
FORMAT = 1


@dataclass
class Kept:
    """``number``: of the newest message. ``position`` None: the journal was never read."""

    format: int = FORMAT
    number: int = 0
    position: Position | None = None
    story: StoryKept = field(default_factory=StoryKept)
    present: PresentKept = field(default_factory=PresentKept)
    targets: dict[str, OutboxKept] = field(default_factory=dict)

    def next_number(self) -> int:
        self.number += 1
        return self.number


_KEPT = TypeAdapter(Kept)


class Memory:
    """The file in a folder. Reading never raises; a file that cannot be read is set aside, and
    ``was_lost`` says so."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE_NAME
        self.was_lost = False
        self.trouble = ""  # why it cannot be written
        self.kept = self._read()

    def save(self) -> bool:
        """Whether it is on the medium now."""
        try:
            self._write(json.dumps(asdict(self.kept), indent=1))
        except OSError as error:
            trouble = f"{self._path}: {error.strerror or error}"
            if trouble != self.trouble:
                log.warning("what was sent cannot be kept, only alarms are sent now: %s", trouble)
            self.trouble = trouble
            return False
        self.trouble = ""
        return True

    def _read(self) -> Kept:
        try:
            kept = _KEPT.validate_python(json.loads(self._path.read_text("utf-8")))
            if kept.format != FORMAT:
                raise ValueError(f"its format is {kept.format}")
        except FileNotFoundError:
            return Kept()
        except (OSError, ValueError, RecursionError):
            aside = self._path.with_suffix(".broken")
            log.warning("%s cannot be used; it is kept as %s, and begun anew", self._path, aside)
            self._set_aside(aside)
            self.was_lost = True
            return Kept()
        return kept

    def _set_aside(self, aside: Path) -> None:
        try:
            self._path.replace(aside)
        except OSError as error:
            log.warning("%s could not be moved: %s", self._path, error.strerror)

    def _write(self, text: str) -> None:
        new = self._path.with_suffix(".new")
        descriptor = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o600)
        with open(descriptor, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        new.replace(self._path)
        folder = os.open(self._path.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
