"""A file that is one, at its own place: no link, no pipe; and its folder's entry on the disk."""

import errno
import os
import stat
from pathlib import Path
from typing import IO


def plain_file(path: Path, most_bytes: int) -> bytes:
    """What it holds. Raises OSError, for what is too large as well."""
    with open_plain(path, os.O_RDONLY) as file:
        if os.fstat(file.fileno()).st_size > most_bytes:
            raise OSError(f"it is larger than {most_bytes} bytes")
        return file.read()


def open_plain(path: Path, flags: int) -> IO[bytes]:
    """Follows no link: who put it there may have us read, or as root write, wherever it leads.

    Raises OSError, for what is no file as well; waits for nobody.
    """
    try:
        number = os.open(path, flags | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC, 0o644)
    except OSError as error:
        if error.errno == errno.ELOOP:
            raise OSError(f"{path} is a link: move the file that it leads to here") from None
        raise
    if not stat.S_ISREG(os.fstat(number).st_mode):
        os.close(number)
        raise OSError(f"{path} is no file")
    return os.fdopen(number, "rb" if flags == os.O_RDONLY else "r+b", buffering=0)


def sync_folder(folder: Path) -> None:
    number = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
