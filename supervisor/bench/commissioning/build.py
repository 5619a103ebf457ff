"""A simulated build on the bench: contactor with its coil, sense leads, a bench supply on them."""

import tempfile
from pathlib import Path
from typing import Any

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

    def kill_a_daemon(self, settings: SupervisorSettings) -> float:
        with tempfile.TemporaryDirectory(prefix="holdwatch-killed-") as folder:
            killed = Trial(settings, self, Path(folder))
            killed.close()
            killed.run(1.0)
        self._killed.append(killed)
        self.clock.forget_alarms()
        self.world.owner_dies()
        return self.clock.now_s()
