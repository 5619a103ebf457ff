"""Reads the daemon's status file, whatever state that file is in, without ever blocking."""

import errno
import json
import os
import stat
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from supervisor.snapshot import ProbeView, Snapshot, from_dict
from supervisor.status import wellformed

FILE_NAME = "status.json"
LARGEST_BYTES = 256 * 1024
STALE_AFTER_S = 3.0
PROBE_STALE_AFTER_S = 60.0  # the longest that any settings let a probe be silent


@dataclass(frozen=True, slots=True)
class Status:
    """The newest snapshot, if any, and why it must not be believed (empty when it may be).

    ``opening_set_up``: who knows the token can open by this page.
    """

    snapshot: Snapshot | None
    age_s: float | None
    problem: str
    opening_set_up: bool = False

    @property
    def fresh(self) -> bool:
        return not self.problem


def present_celsius(probe: ProbeView) -> float | None:
    """The temperature while it may be called the present one, else None."""
    return probe.celsius if probe.age_s <= PROBE_STALE_AFTER_S else None


def current(run_dir: Path, now_s: Callable[[], float] = time.monotonic) -> Status:
    """The snapshot with its age on this machine's monotonic clock."""
    snapshot, problem = read(run_dir)
    if snapshot is None:
        return Status(None, None, problem)
    age_s = now_s() - snapshot.published_at_s
    if age_s < 0:
        problem = "The status file is from before this machine started, or from another machine."
    elif age_s > STALE_AFTER_S:
        problem = f"The supervisor has published nothing for more than {STALE_AFTER_S:.0f} s."
    return Status(snapshot, age_s, problem)


def read(run_dir: Path) -> tuple[Snapshot | None, str]:
    """The snapshot, or None and a sentence that says what is wrong with the file."""
    path = run_dir / FILE_NAME
    try:
        return _parse(_read_bytes(path)), ""
    except OSError as error:
        return None, f"{path}: {_os_problem(error)}."
    except (ValueError, RecursionError) as error:
        text = str(error)[:200].encode("utf-8", "replace").decode()
        return None, f"{path} is not a usable status file: {text}."


def _read_bytes(path: Path) -> bytes:
    # O_NONBLOCK: opening a FIFO returns at once. O_NOFOLLOW: the daemon never makes a link.
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOFOLLOW | os.O_CLOEXEC)
    try:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise ValueError("not a regular file")
        content = os.read(descriptor, LARGEST_BYTES + 1)
    finally:
        os.close(descriptor)
    if len(content) > LARGEST_BYTES:
        raise ValueError(f"larger than {LARGEST_BYTES // 1024} KiB")
    return content


def _parse(content: bytes) -> Snapshot:
    try:
        data: Any = json.loads(content.decode("utf-8"))
    except json.JSONDecodeError as error:
        raise ValueError(f"no complete JSON ({error.msg}, line {error.lineno})") from error
    if not isinstance(data, dict):
        raise ValueError("no JSON object")
    snapshot = from_dict(data)
    wellformed.check(snapshot)
    return snapshot


def _os_problem(error: OSError) -> str:
    match error.errno:
        case errno.ENOENT | errno.ENOTDIR:
            return "no status file; the supervisor is not running, or uses another --run-dir"
        case errno.EACCES | errno.EPERM:
            return "not readable by this user; the web process needs the run directory's group"
        case errno.ELOOP:
            return "a symbolic link, which the supervisor never makes"
        case _:
            return error.strerror or "unreadable"
