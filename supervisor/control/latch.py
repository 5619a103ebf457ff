"""The lockout latch on disk (function 86): survives restarts and power cuts.

The file says one of three things. ``clear``: nothing stands in the way. ``armed``: written before
the contactor may close; found at a start, it means that the last run ended without a word, and
counts as locked out. ``locked``: a trip, with its story. A file that cannot be read counts as
locked out as well. Only a missing file (a first start) is clear.

With it go the profile in force and what the rules must not forget, such as heat; see
``protection.verdict.Remembers``.
"""

import json
import os
import secrets
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, TypeAdapter, ValidationError

from supervisor.protection.verdict import Memory
from supervisor.snapshot import Moment

FILE_NAME = "lockout.json"
LARGEST = 1e9  # of any number that a rule remembers


@dataclass(frozen=True, slots=True)
class Lockout:
    """Why the circuit is locked out; ``measured`` and ``limit`` in ``unit``, ``wall`` in UTC."""

    tripped_by: str
    reason: str
    remedy: str
    wall: str
    measured: float | None = None
    limit: float | None = None
    unit: str = ""
    opened_in_s: float | None = None
    failed_to_open: bool = False
    before: tuple[Moment, ...] = ()


Memories = Mapping[str, Memory]  # by the rule's key


@dataclass(frozen=True, slots=True)
class Kept:
    """What is kept with the latch.

    What the rules remember, and the profile in force ("": not known). ``is_whole``, after reading:
    nothing can have happened since it was written.
    """

    memories: Memories
    profile: str = ""
    is_whole: bool = False


Finite = Annotated[float, Field(ge=-LARGEST, le=LARGEST, allow_inf_nan=False)]
_LOCKOUT = TypeAdapter(Lockout)
_MEMORIES = TypeAdapter(dict[str, dict[str, Finite]])


class Latch:
    """Reads and writes the latch. Writing raises OSError; reading never raises."""

    def __init__(self, state_dir: Path) -> None:
        self.path = state_dir / FILE_NAME
        self.kept: Kept | None = None  # after ``read``; None: a first start, nothing was
        self.was_armed = False  # after ``read``: the last run ended without a word while closed
        self.arming = ""  # which one, as read or as written last; "": none, or of an older program

    def read(self, wall: str) -> Lockout | None:
        """The lockout that stands at a start, None when clear. ``wall`` dates a new finding."""
        self.kept, self.arming = Kept({}), ""
        try:
            content = json.loads(self.path.read_text("utf-8"))
            self.kept = _kept(content)
            return self._from_json(content, wall)
        except FileNotFoundError:
            self.kept = None
            return None
        except (OSError, ValueError, TypeError, KeyError, RecursionError) as error:
            return Lockout(
                tripped_by="external",
                reason=f"the lockout file {self.path} cannot be read ({error}): "
                "what happened before is unknown",
                remedy="look at the bank and at the log of the last run, then reset",
                wall=wall,
            )

    def _from_json(self, content: dict[str, Any], wall: str) -> Lockout | None:
        if content["state"] == "clear":
            return None
        self.was_armed = content["state"] == "armed"
        if self.was_armed:
            arming = content.get("arming")
            self.arming = arming if isinstance(arming, str) else ""
            closed_at = f"{str(content['wall'])[:19].replace('T', ' ')} UTC"
            return Lockout(
                tripped_by="external",
                reason="the last run ended without a word while the circuit was closed "
                f"(since {closed_at}): power cut, crash, or killed",
                remedy="look at the bank, find out why it ended, then reset",
                wall=wall,
            )
        if content["state"] == "locked":
            lockout = _LOCKOUT.validate_python(content["lockout"])
            json.dumps(asdict(lockout), allow_nan=False)  # or the status could not be written
            return lockout
        raise ValueError(f"state {content['state']!r}")

    def arm(self, wall: str, keep: Kept) -> None:
        """To be called before the contactor closes. Raises OSError: then it must not close.

        The disk says the arming before or this one, then. ``arming`` is the one before, by which
        the journal's last counts are known; this one has them in ``keep``, and as nothing closes,
        there are none after it.
        """
        arming = secrets.token_hex(8)
        self._write({"state": "armed", "wall": wall, "arming": arming}, keep)
        self.arming = arming

    def lock(self, lockout: Lockout, keep: Kept) -> None:
        self._write({"state": "locked", "lockout": asdict(lockout)}, keep)

    def clear(self, wall: str, reason: str, keep: Kept) -> None:
        self._write({"state": "clear", "wall": wall, "reason": reason}, keep)

    def _write(self, state: dict[str, Any], keep: Kept) -> None:
        """Replace the file in one step, on the medium before this returns."""
        content = state | {"profile": keep.profile, "memory": dict(keep.memories)}
        new = self.path.with_suffix(".new")
        with new.open("w", encoding="utf-8") as file:
            json.dump(content, file, indent=2)
            file.flush()
            os.fsync(file.fileno())
        new.replace(self.path)
        folder = os.open(self.path.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _kept(content: Any) -> Kept:
    """A memory that cannot be read is as good as lost; the lockout beside it may still be known."""
    try:
        memories = _MEMORIES.validate_python(content["memory"])
    except (ValidationError, TypeError, KeyError):
        memories = {}
    profile = content.get("profile") if isinstance(content, dict) else None
    is_whole = bool(memories) and _was_seen_to_open(content)
    return Kept(memories, profile if isinstance(profile, str) else "", is_whole)


def _was_seen_to_open(content: Any) -> bool:
    """Whether nothing can have flowed since: a contactor that failed to open heats on."""
    if content.get("state") == "locked":
        lockout = content.get("lockout")
        seen = isinstance(lockout, dict) and lockout.get("opened_in_s") is not None
        return seen and lockout.get("failed_to_open") is False
    return bool(content.get("state") == "clear")
