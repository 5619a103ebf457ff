"""A report's mark: of which sessions it is, so that it is written anew for those only."""

import hashlib
import re
from collections.abc import Iterable
from pathlib import Path

from supervisor.journal.reader import Session

NEAR_BYTES = 4096  # of the head of a page, and of the end of a PDF
OF_PAGE = re.compile(rb'<meta name="holdwatch-report" content="([0-9a-f]{32})">')
OF_PDF = re.compile(rb"\(holdwatch-report ([0-9a-f]{32})\)")


def mark_of(sessions: Iterable[Session]) -> str:
    """Numbers begin again in each new journal: when a session began and its settings tell it from
    others of its number."""
    told = sorted(f"{s.id} {s.began_wall_s!r} {s.settings_sha256}" for s in sessions)
    return hashlib.sha256("\n".join(told).encode()).hexdigest()[:32]


def pdf_identifier(mark: str) -> bytes:
    """Stands in the trailer, as ISO 32000-1, 14.4, has it for what identifies a file."""
    return f"holdwatch-report {mark}".encode()


def found_mark(path: Path) -> str:
    """Of a page or a PDF that is there; empty: it is no report."""
    with path.open("rb") as file:
        head = file.read(NEAR_BYTES)
        file.seek(max(0, path.stat().st_size - NEAR_BYTES))
        end = file.read()
    found = OF_PAGE.search(head) or OF_PDF.search(end)
    return found[1].decode() if found else ""
