"""The line by which a file of ours is known again, and is known to be as we wrote it."""

import hashlib
import re
from dataclasses import dataclass

from supervisor import __version__

_WORDS = "holdwatch {version} wrote this; to change it, see holdwatch(1). sha256 of the rest: {sha}"
_MARK = re.compile(
    rb"\S{1,3} holdwatch (\S+) wrote this;[^\n]*sha256 of the rest: ([0-9a-f]{64})\n"
)
_LINES_SEARCHED = 2  # a zsh completion has to begin with a line of its own


@dataclass(frozen=True, slots=True)
class Mark:
    """``version``: of the holdwatch that wrote it. ``fits``: nobody changed the rest since."""

    version: str
    fits: bool


def marked(text: str, comment: str, *, below: int = 0) -> str:
    """The text with our mark as a comment, ``below`` so many of its lines."""
    lines = text.splitlines(keepends=True)
    words = _WORDS.format(version=__version__, sha=_digest(text.encode()))
    return "".join([*lines[:below], f"{comment} {words}\n", *lines[below:]])


def read_mark(content: bytes) -> Mark | None:
    """The mark of a file; None for a file that is not ours."""
    lines = content.splitlines(keepends=True)
    for number, line in enumerate(lines[:_LINES_SEARCHED]):
        if found := _MARK.fullmatch(line):
            rest = b"".join(lines[:number] + lines[number + 1 :])
            return Mark(found[1].decode("ascii", "replace"), _digest(rest) == found[2].decode())
    return None


def without_mark(content: bytes) -> bytes:
    """What the mark's digest is about; the content itself where there is no mark."""
    lines = content.splitlines(keepends=True)
    return b"".join(
        line for n, line in enumerate(lines) if n >= _LINES_SEARCHED or not _MARK.fullmatch(line)
    )


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
