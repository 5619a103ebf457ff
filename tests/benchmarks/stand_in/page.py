"""The page of memory that the stand-in wire, the daemon on it and the benchmark share."""

import mmap
import struct
from pathlib import Path

# As ``struct page`` of wire.c; eight bytes each.
FLOATS = ("kilohertz", "front_v", "far_v", "shunt_v", "stepped_v", "closed_shunt_v")
INTEGERS = (
    "step_at_ns", "messages", "transfers", "conversions", "past_step", "opened_ns",
    "coil_on", "coil_edge_ns", "imported_ns", "cycles",
)  # fmt: skip
AT = {name: 8 * number for number, name in enumerate(FLOATS + INTEGERS)}
SAMPLES_AT, SAMPLES = 8 * len(AT), 64
LATENESS_AT, LATENESS = SAMPLES_AT + 16 * SAMPLES, 1 << 16
SIZE = LATENESS_AT + 4 * LATENESS


class Page:
    """Numbers by name; a number of eight bytes is read and written in one piece."""

    def __init__(self, path: Path) -> None:
        if not path.exists():
            path.write_bytes(bytes(SIZE))
        with path.open("r+b") as file:
            self._memory = mmap.mmap(file.fileno(), SIZE)

    def get(self, name: str) -> float:
        form = "d" if name in FLOATS else "q"
        value: float = struct.unpack_from(form, self._memory, AT[name])[0]
        return value

    def set(self, **values: float) -> None:
        for name, value in values.items():
            struct.pack_into("d" if name in FLOATS else "q", self._memory, AT[name], value)

    def samples(self) -> list[tuple[int, int]]:
        """Of the front cell since the step: middle and end of each conversion, ns."""
        count = min(int(self.get("past_step")), SAMPLES)
        return [struct.unpack_from("qq", self._memory, SAMPLES_AT + 16 * k) for k in range(count)]

    def note_lateness(self, late_s: float) -> None:
        number = int(self.get("cycles"))
        at = LATENESS_AT + 4 * (number % LATENESS)
        struct.pack_into("f", self._memory, at, late_s)
        self.set(cycles=number + 1)

    def lateness_s(self, since_cycle: int = 0) -> list[float]:
        """Of each cycle since then, as the loop's own pacer told it."""
        newest = int(self.get("cycles"))
        first = max(since_cycle, newest - LATENESS)
        return [
            struct.unpack_from("f", self._memory, LATENESS_AT + 4 * (k % LATENESS))[0]
            for k in range(first, newest)
        ]
