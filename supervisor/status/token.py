"""The token: a word in a file; who knows it may open from the page.

As RFC 6750 has it, "The OAuth 2.0 Authorization Framework: Bearer Token Usage", section 2.1: it is
sent as ``Authorization: Bearer TOKEN``, and made of the characters that fit there. That it is long
is all that keeps a guesser out: a new one has 192 random bits.
"""

import os
import re
import secrets
import stat
from pathlib import Path

SHORTEST = 24
RANDOM_BYTES = 24
CHARACTERS = re.compile(r"[A-Za-z0-9._~+/-]+=*")
LARGEST_BYTES = 1024
FOR_OTHERS = stat.S_IRWXO | stat.S_IWGRP


class Unfit(Exception):
    """Says in words what is wrong with a file, and what to do."""


def read_token(path: Path) -> str:
    """The word in the file. Raises Unfit."""
    content = read_private(path, "token").decode("latin-1")
    lines = content.splitlines()
    if len(lines) != 1:
        raise Unfit(f"the token file {path} has {len(lines)} lines; it must be one line, the token")
    token = lines[0].strip()
    if len(token) < SHORTEST:
        raise Unfit(
            f"the token in {path} is shorter than {SHORTEST} characters: easy to guess; "
            "holdwatch web --new-token FILE makes one that is not"
        )
    if not CHARACTERS.fullmatch(token):
        raise Unfit(f"the token in {path} must be of letters, digits and . _ ~ + / - only")
    return token


def read_private(path: Path, what: str, most_bytes: int = LARGEST_BYTES) -> bytes:
    """A small file that is nobody else's business. Raises Unfit, ``what`` in its words."""
    try:
        with open(path, "rb", opener=_open_at_once) as file:
            status = os.fstat(file.fileno())
            if not stat.S_ISREG(status.st_mode):
                raise Unfit(f"the {what} file {path} is not a regular file")
            if status.st_mode & FOR_OTHERS:
                raise Unfit(
                    f"the {what} file {path} may be read or written by others "
                    f"(mode {stat.S_IMODE(status.st_mode):04o}): chmod 600, for the page's user"
                )
            content = file.read(most_bytes + 1)
    except OSError as error:
        raise Unfit(f"the {what} file {path} cannot be read: {error.strerror}") from None
    if len(content) > most_bytes:
        raise Unfit(f"the {what} file {path} is larger than {most_bytes} bytes")
    return content


def write_new_token(path: Path) -> None:
    """A fresh one, for the owner of the file alone. Raises OSError; overwrites nothing."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    with os.fdopen(descriptor, "w") as file:
        file.write(secrets.token_urlsafe(RANDOM_BYTES) + "\n")
        file.flush()
        os.fsync(file.fileno())


def _open_at_once(name: str, flags: int) -> int:
    """A pipe is not waited for."""
    return os.open(name, flags | os.O_NONBLOCK | os.O_CLOEXEC)
