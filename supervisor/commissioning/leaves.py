"""What the steps stand on: clock, bus and pins, real or simulated, and a daemon to kill."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from supervisor.devices.protocols import Clock, I2CBus, OneWire
from supervisor.settings.model import SupervisorSettings


@dataclass(frozen=True, slots=True)
class Killed:
    """When a daemon was, on the clock; and whether the contact was closed until then."""

    at_s: float
    was_closed: bool


class Leaves(Protocol):
    @property
    def clock(self) -> Clock: ...

    @property
    def simulated(self) -> bool: ...

    @property
    def one_wire(self) -> OneWire | None:
        """None: the kernel's, if any probe needs it."""
        ...

    @property
    def pin_factory(self) -> Any:
        """One that nobody holds pins of."""
        ...

    def open_bus(self) -> I2CBus:
        """Raises OSError."""
        ...

    def kill_a_daemon(self, settings: SupervisorSettings, saw_closed: Callable[[], bool]) -> Killed:
        """Start the daemon, close by it, kill it without a warning.

        ``saw_closed`` asks a person for the contact, where no auxiliary contact tells the daemon.
        Raises CannotTell when it does not come so far.
        """
        ...
