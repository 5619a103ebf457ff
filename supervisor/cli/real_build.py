"""The real machine below the steps: its clock, bus and pins, and a daemon that can be killed."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from supervisor.cli.killed_daemon import Child, Unit, Victim, has_systemd
from supervisor.commissioning.leaves import Killed
from supervisor.devices.clock import MonotonicClock
from supervisor.devices.i2c import KernelI2C
from supervisor.devices.pins import open_pin_factory
from supervisor.devices.protocols import I2CBus, OneWire
from supervisor.settings.model import SupervisorSettings

NOBODY_CLEARS_UP = (
    "systemd is not here, or this is not root: nobody clears up after the daemon that is killed, "
    "as its service would. A driver that is held by a level stays on then."
)


class RealBuild:
    """Leaves of this machine, for a settings file. Construction opens nothing."""

    simulated = False

    def __init__(
        self, config: Path, settings: SupervisorSettings, run_dir: Path, tell: Callable[[str], None]
    ) -> None:
        self.clock = MonotonicClock()
        self.one_wire: OneWire | None = None
        self._config = config
        self._bus = settings.bus
        self._chip_label = settings.gpio.chip_label
        self._run_dir = run_dir
        self._tell = tell
        self._pins: Any = None
        self._victim: Victim | None = None

    @property
    def pin_factory(self) -> Any:
        """Raises HardwareMissing."""
        if self._pins is None:
            self._pins = open_pin_factory(self._chip_label, self._run_dir)
        return self._pins

    def open_bus(self) -> I2CBus:
        """Raises HardwareMissing."""
        return KernelI2C(self._bus.number, self._bus.deadline_milliseconds / 1000)

    def kill_a_daemon(
        self,
        settings: SupervisorSettings,  # noqa: ARG002  # those of the file
        saw_closed: Callable[[], bool],
    ) -> Killed:
        """By systemd where it is, else as a child; what is left of it stays until ``clear_up``."""
        self._release_pins()
        self.clear_up()
        process = Unit if has_systemd() else Child
        if process is Child:
            self._tell(NOBODY_CLEARS_UP)
        self._victim = Victim(self._config, process, self.clock, saw_closed)
        try:
            return self._victim.killed()
        except BaseException:  # Ctrl-C among them
            self.clear_up()
            raise

    def clear_up(self) -> None:
        """After a daemon that was killed. Raises HardwareMissing when an output may still be on."""
        victim, self._victim = self._victim, None
        if victim:
            victim.clear_up()

    def close(self) -> None:
        self._release_pins()
        self.clear_up()

    def _release_pins(self) -> None:
        pins, self._pins = self._pins, None
        if pins is not None:
            pins.close()
