"""A world with a fault in it: the contactor held closed, and everything that can be measured."""

from pydantic import TypeAdapter
from samplers import sampler_on

from supervisor.devices.contactor import Contactor
from supervisor.devices.panel import Panel
from supervisor.readings import Channel, Sample
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.fault import FaultSettings
from supervisor.simulator.faults import Fault
from supervisor.simulator.parts.cells import CellsSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.supply import SupplySettings
from supervisor.simulator.world import World

PLANT = PlantSettings(
    cells=CellsSettings(state_of_charge=0.6),
    supply=SupplySettings(knob=1.0, capacitor_farads=50),
)


def fault(kind: str, **fields: object) -> FaultSettings:
    """As a scenario file gives it."""
    parsed: FaultSettings = TypeAdapter(Fault).validate_python({"kind": kind, **fields})
    return parsed


class FaultBench:
    """A world with the contactor held closed, and everything that can be measured of it."""

    def __init__(self, settings: SupervisorSettings) -> None:
        self.clock = SimulatedClock()
        self.world = World(settings, PLANT, self.clock)
        self.contactor = Contactor(settings, self.world.pin_factory, self.clock)
        self.sampler = sampler_on(settings, self.world.open_bus, self.clock)
        self.panel = Panel(settings.panel, self.world.pin_factory)
        self.contactor.close_for(0.4)
        self.wait(0.5)
        for channel in Channel:
            self.sample(channel)

    def wait(self, seconds: float) -> None:
        """Time passes, the contactor's pin is kept moving."""
        until_s = self.clock.now_s() + seconds
        while self.clock.now_s() < until_s:
            self.clock.sleep_until(min(self.clock.now_s() + 0.05, until_s))
            if self.contactor.state().told_to_close:
                self.contactor.renew(0.4)

    def sample(self, channel: Channel = Channel.FRONT_CELL) -> Sample:
        return self.sampler.sample(channel)

    def code(self, channel: Channel = Channel.FRONT_CELL) -> int:
        """In steps of the channel's own range."""
        sample = self.sample(channel)
        assert sample.code is not None, sample.quality
        return min(max(round(sample.code * sample.ratio), -0x8000), 0x7FFF)

    def raw_code(self, channel: Channel = Channel.FRONT_CELL) -> int:
        """As it left the converter, in whatever range."""
        sample = self.sample(channel)
        assert sample.code is not None, sample.quality
        return sample.code
