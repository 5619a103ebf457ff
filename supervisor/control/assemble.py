"""Puts the loop together. The same for the real machine, the demo, the drills and the tests."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from supervisor.control.latch import Latch
from supervisor.control.loop import Loop, Parts
from supervisor.control.notify import Notifier
from supervisor.control.publisher import Publisher
from supervisor.control.requests import Inbox
from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.contactor import Contactor
from supervisor.devices.panel import Panel
from supervisor.devices.protocols import Clock, I2CBus
from supervisor.devices.sampler import ConverterSampler
from supervisor.settings.model import SupervisorSettings


def assemble(
    settings: SupervisorSettings,
    *,
    clock: Clock,
    open_bus: Callable[[], I2CBus],
    pin_factory: Any,
    state_dir: Path,
    inboxes: Sequence[Inbox],
    publisher: Publisher,
    simulated: bool,
    notifier: Notifier | None = None,
) -> Loop:
    """A loop on these leaves: clock, bus and pins. The coil is off when this returns."""
    keeper = BusKeeper(open_bus, clock, settings.bus.deadline_milliseconds / 1000)
    parts = Parts(
        clock=clock,
        bus=keeper,
        sampler=ConverterSampler(settings, keeper, clock),
        contactor=Contactor(settings, pin_factory, clock),
        panel=Panel(settings.panel, pin_factory),
        latch=Latch(state_dir),
        inboxes=inboxes,
        publisher=publisher,
        notifier=notifier or Notifier(),
    )
    return Loop(settings, parts, simulated=simulated)
