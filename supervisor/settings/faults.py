"""What is wrong with a file of settings: every fault at once, each with its place and its cure."""

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass

WIDTH = 80
MOST_LETTERS = 1200  # of one part of a fault
MOST_SHOWN = 40


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to correct. ``line`` counts from 1; None when the value stands in no line."""

    file: str
    line: int | None
    path: str
    problem: str
    why: str
    remedy: str

    def __str__(self) -> str:
        return "\n".join(
            [
                self._where(),
                _wrapped(self.problem, "  "),
                _wrapped(self.why, "  Why: "),
                _wrapped(self.remedy, "  Do:  "),
            ]
        )

    def _where(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        return _clean(f"{place}: {self.path}" if self.path else place)


class SettingsFaults(Exception):
    """A file that must not be used. Holds at least one fault, sorted by file and line."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(faults, key=lambda f: (f.file, f.line or 0, f.path, f.problem)))
        super().__init__(self.faults)

    def __str__(self) -> str:
        count = "1 fault" if len(self.faults) == 1 else f"{len(self.faults)} faults"
        files = ", ".join(dict.fromkeys(_clean(f.file) for f in self.faults))
        more = len(self.faults) - MOST_SHOWN
        shown = [str(fault) for fault in self.faults[:MOST_SHOWN]]
        if more > 0:
            shown.append(f"... and {more} more.")
        return "\n\n".join([*shown, f"{count} in {files}. Nothing was started."])


def _clean(text: str) -> str:
    """Without line ends and control codes that a file could smuggle into a terminal."""
    clean = "".join(c if c.isprintable() else "?" for c in " ".join(text.split()))
    return clean if len(clean) <= MOST_LETTERS else f"{clean[:MOST_LETTERS]} ..."


def _wrapped(text: str, lead: str) -> str:
    return textwrap.fill(
        _clean(text),
        WIDTH,
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_long_words=False,
        break_on_hyphens=False,
    )
