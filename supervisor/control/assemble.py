"""Puts the loop together. The same for the real machine, the demo, the drills and the tests."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from supervisor.control.build_record import BuildRecord
from supervisor.control.latch import Latch
from supervisor.control.loop import Loop, Parts
from supervisor.control.notify import Notifier
from supervisor.control.publisher import Publisher
from supervisor.control.recorder import NoJournal, Sink
from supervisor.control.requests import Inbox
from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.contactor import Contactor
from supervisor.devices.one_wire import KernelOneWire
from supervisor.devices.panel import Panel
from supervisor.devices.protocols import Clock, I2CBus, OneWire
from supervisor.devices.second_line import SecondLineWatch
from supervisor.devices.thermometers import Thermometers
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
    one_wire: OneWire | None = None,
    notifier: Notifier | None = None,
    journal: Sink | None = None,
) -> Loop:
    """A loop on these leaves: clock, buses and pins. The coil is off when this returns.

    Without ``one_wire`` it is the kernel's, if any probe needs it; without ``journal`` there is no
    record.
    """
    serials = [probe.serial for probe in settings.probes.values() if probe.serial]
    if one_wire is None and serials:
        one_wire = KernelOneWire(serials, clock)
    keeper = BusKeeper(open_bus, clock, settings.bus.deadline_milliseconds / 1000)
    parts = Parts(
        clock=clock,
        bus=keeper,
        thermometers=Thermometers(settings.probes, keeper, clock, one_wire),
        second_line=_second_line(settings, keeper, pin_factory, clock),
        contactor=Contactor(settings, pin_factory, clock),
        panel=Panel(settings.panel, pin_factory),
        latch=Latch(state_dir),
        inboxes=inboxes,
        publisher=publisher,
        notifier=notifier or Notifier(),
        journal=journal or NoJournal(),
        build_record=BuildRecord(state_dir),
    )
    return Loop(settings, parts, simulated=simulated)


def _second_line(
    settings: SupervisorSettings, keeper: BusKeeper, pin_factory: Any, clock: Clock
) -> SecondLineWatch | None:
    line = settings.second_line
    if line is None:
        return None
    converter = settings.converters[line.converter]
    return SecondLineWatch(line, converter, settings.loop.window_s, keeper, pin_factory, clock)
