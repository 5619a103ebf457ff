"""What the loop expects of its devices; real and simulated ones implement the same."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol


class Alarm(Protocol):
    """A deadline that acts by itself, whatever the loop is doing."""

    def set(self, at_s: float) -> None:
        """Act at this time unless set again or cancelled before."""
        ...

    def cancel(self) -> None: ...

    def close(self) -> None: ...


class Clock(Protocol):
    def now_s(self) -> float:
        """Monotonic seconds."""
        ...

    def sleep_until(self, at_s: float) -> None:
        """Return at or after this time; at once when it has passed."""
        ...

    def wall(self) -> datetime:
        """UTC. For records only, never for timing: it may step by years."""
        ...

    def alarm(self, act: Callable[[], None]) -> Alarm: ...


class I2CBus(Protocol):
    """An I2C bus in the calling convention of CircuitPython's ``busio.I2C``.

    Every transfer ends within the bus deadline. Errors are OSError with the kernel's errno:
    EREMOTEIO, EIO, ETIMEDOUT, ENXIO.
    """

    def try_lock(self) -> bool: ...

    def unlock(self) -> None: ...

    def writeto(
        self, address: int, buffer: bytes, *, start: int = 0, end: int | None = None
    ) -> None: ...

    def readfrom_into(
        self, address: int, buffer: bytearray, *, start: int = 0, end: int | None = None
    ) -> None: ...

    def writeto_then_readfrom(
        self,
        address: int,
        out_buffer: bytes,
        in_buffer: bytearray,
        *,
        out_start: int = 0,
        out_end: int | None = None,
        in_start: int = 0,
        in_end: int | None = None,
    ) -> None: ...

    def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class OneWireAnswer:
    """What the kernel said of one probe: the text of its file ``w1_slave``; None: nothing.

    ``asked_at_s``: what was measured is not older.
    """

    text: str | None
    asked_at_s: float


class OneWire(Protocol):
    """Temperature probes on the kernel's one-wire bus. They take their time: nothing here waits."""

    def newest(self, serial: str) -> OneWireAnswer | None:
        """The newest answer of a probe, the same object until there is another; None before."""
        ...

    def close(self) -> None: ...
