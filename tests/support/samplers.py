"""A sampler with a bus keeper of its own."""

from collections.abc import Callable

from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.protocols import Clock, I2CBus
from supervisor.devices.sampler import ConverterSampler
from supervisor.settings.model import SupervisorSettings


def sampler_on(
    settings: SupervisorSettings, open_bus: Callable[[], I2CBus], clock: Clock
) -> ConverterSampler:
    keeper = BusKeeper(open_bus, clock, settings.bus.deadline_milliseconds / 1000)
    return ConverterSampler(settings, keeper, clock)
