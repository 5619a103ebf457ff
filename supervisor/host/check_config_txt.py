"""The Raspberry Pi's ``config.txt``, as far as it says something of buses and pins.

Its form after the Raspberry Pi documentation (memory).
"""

import re
from dataclasses import dataclass
from typing import Self

from supervisor.host.check_machine import Machine

PLACES = ("/boot/firmware/config.txt", "/boot/config.txt")
NEVER = "none"  # the section whose lines count for no board
LONGEST_RANGE = 64


@dataclass(frozen=True, slots=True)
class ConfigTxt:
    """``lines``: key and value, in order. Those for one kind of board count as if it were ours."""

    path: str
    lines: tuple[tuple[str, str], ...]

    @classmethod
    def of(cls, machine: Machine) -> Self | None:
        for path in PLACES:
            if (text := machine.text(path)) is not None:
                return cls(path, tuple(_lines(text)))
        return None

    def parameter(self, name: str) -> str | None:
        """The last value that a ``dtparam`` gives; "on" where it names none."""
        found = None
        for given in self._values("dtparam"):
            for word in given.split(","):
                key, equals, value = word.partition("=")
                if key.strip() == name:
                    found = value.strip() if equals else "on"
        return found

    def overlays(self) -> list[str]:
        """Each as written: ``w1-gpio,gpiopin=5``."""
        return self._values("dtoverlay")

    def at_power_on(self, pin: int) -> tuple[str, ...]:
        """What ``gpio=`` lines make of a pin, such as ("op", "dl"); a later line adds to it."""
        words: list[str] = []
        for given in self._values("gpio"):
            pins, _, acts = given.partition("=")
            if pin in _pins(pins):
                words += [act.strip() for act in acts.split(",")]
        return tuple(words)

    def _values(self, key: str) -> list[str]:
        return [value for name, value in self.lines if name == key]


def _lines(text: str) -> list[tuple[str, str]]:
    section, found = "", []
    for line in (written.partition("#")[0].strip() for written in text.splitlines()):
        if named := re.fullmatch(r"\[(.*)\]", line):
            section = named[1].lower()
        elif "=" in line and section != NEVER:
            key, _, value = line.partition("=")
            found.append((key.strip(), value.strip()))
    return found


def _pins(text: str) -> set[int]:
    pins: set[int] = set()
    for word in text.split(","):
        if ends := re.fullmatch(r"\s*(\d{1,3})(?:-(\d{1,3}))?\s*", word, re.ASCII):
            first, last = int(ends[1]), int(ends[2] or ends[1])
            pins.update(range(first, min(last, first + LONGEST_RANGE) + 1))
    return pins
