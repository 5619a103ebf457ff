"""One daemon a folder: two would hold the contactor, or clear the lockout, for each other."""

import fcntl
import os
import time
from pathlib import Path

from supervisor.devices.errors import HardwareMissing

FILE_NAME = "holdwatch.lock"
TRIES = 5  # one that only looks, as is_claimed does, holds it for an instant
TRY_AGAIN_AFTER_S = 0.05


def is_claimed(folder: Path) -> bool:
    """Whether a daemon has it. Yes, when that cannot be told."""
    try:
        file = os.open(folder / FILE_NAME, os.O_RDONLY | os.O_CLOEXEC)
    except FileNotFoundError:
        return False
    except OSError:
        return True
    try:
        fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(file)
    return False


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
