"""A simulated build on the bench: contactor with its coil, sense leads, a bench supply on them."""

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from supervisor.commissioning.leaves import Killed
from supervisor.commissioning.measuring import CannotTell
from supervisor.commissioning.trial import Trial
from supervisor.devices.protocols import I2CBus
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.world import World


class SimulatedBuild:
    """``built`` is what is really there; the settings that are tried on it may say otherwise."""

    simulated = True

    def __init__(
        self, built: SupervisorSettings, plant: PlantSettings, state_dir: Path, *, seed: int = 1
    ) -> None:
        self.clock = SimulatedClock()
        self.state_dir = state_dir
        self.world = World(built, plant, self.clock, seed=seed)
        self.one_wire = self.world.one_wire
        self._killed: list[Trial] = []  # kept: nobody tidies up after a kill, the collector neither

    @property
    def pin_factory(self) -> Any:
        return self.world.pin_factory

    def open_bus(self) -> I2CBus:
        return self.world.open_bus()

    def kill_a_daemon(self, settings: SupervisorSettings, saw_closed: Callable[[], bool]) -> Killed:
        with tempfile.TemporaryDirectory(prefix="holdwatch-killed-") as folder:
            killed = Trial(settings, self, Path(folder))
            try:
                was_closed = _closed(killed, saw_closed)
            except BaseException:  # it lives on: it has to give its pins back
                killed.end()
                raise
        self._killed.append(killed)
        self.clock.forget_alarms()
        self.world.owner_dies()
        return Killed(self.clock.now_s(), was_closed)


def _closed(daemon: Trial, saw_closed: Callable[[], bool]) -> bool:
    """Whether the contact is, once it was told to close. Raises CannotTell."""
    daemon.close()
    if tripped := daemon.run(1.0):
        raise CannotTell(f"the daemon did not stay closed: tripped by {tripped.rule}")
    was_closed = daemon.auxiliary_closed
    return daemon.while_(saw_closed) if was_closed is None else was_closed
