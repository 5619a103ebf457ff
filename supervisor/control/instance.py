"""One daemon a folder: two would hold the contactor, or clear the lockout, for each other."""

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from supervisor.devices.errors import HardwareMissing

FILE_NAME = "holdwatch.lock"
TRIES = 5  # one that only looks, as is_claimed does, holds it for an instant
TRY_AGAIN_AFTER_S = 0.05


@contextmanager
def kept_free(folder: Path) -> Iterator[bool]:
    """Whether no daemon has it; if so, none gets it meanwhile. No, when that cannot be told.

    Shared, so that nobody else who looks is in the way. Where no daemon ever was, nothing is held.
    """
    try:
        file = os.open(folder / FILE_NAME, os.O_RDONLY | os.O_CLOEXEC)
    except OSError as error:
        yield isinstance(error, FileNotFoundError)
        return
    try:
        fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError:
        is_free = False
    else:
        is_free = True
    try:
        yield is_free
    finally:
        os.close(file)


def is_claimed(folder: Path) -> bool:
    """Whether a daemon has it. Yes, when that cannot be told."""
    with kept_free(folder) as is_free:
        return not is_free


def claim(folder: Path) -> int:
    """Take a run or state folder for this process, until it ends. Returns the open file.

    Raises HardwareMissing when another daemon has it, OSError when the folder is not writable.
    """
    file = os.open(folder / FILE_NAME, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    for tries_left in reversed(range(TRIES)):
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if tries_left:
                time.sleep(TRY_AGAIN_AFTER_S)
        else:
            return file
    os.close(file)
    raise HardwareMissing(
        f"another daemon is using {folder}",
        "stop it first, or give this one its own --run-dir and --state-dir",
    )
