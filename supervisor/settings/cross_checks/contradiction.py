"""One contradiction, as yet without its line."""

from typing import NamedTuple


class Contradiction(NamedTuple):
    """``path`` is dotted; the document knows its line."""

    path: str
    problem: str
    why: str
    remedy: str
