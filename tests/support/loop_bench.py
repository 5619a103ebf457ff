"""A whole loop on a simulated world, with a record of what it was entitled to."""

from dataclasses import dataclass, field
from pathlib import Path

from supervisor.control.assemble import assemble
from supervisor.control.loop import Loop
from supervisor.control.publisher import LastSnapshot
from supervisor.control.recorder import Sink
from supervisor.control.requests import Mailbox
from supervisor.readings import Channel, Pace, Readings
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.world import World
from supervisor.snapshot import Circuit


@dataclass
class LoopBench:
    """A loop on a world with a level-driven coil, and a record of what it was entitled to."""

    settings: SupervisorSettings
    folder: Path
    clock: SimulatedClock = field(default_factory=SimulatedClock)
    journal: Sink | None = None

    def __post_init__(self) -> None:
        plant = PlantSettings.model_validate({"cells": {"state_of_charge": 0.6}})
        self.world = World(self.settings, plant, self.clock)
        self.mailbox = Mailbox()
        self.loop = self.new_loop()
        self.entitled_at_s: list[float] = []
        self.resets_at_s: list[float] = []
        self.locked_at_s: list[float] = []

    def level(self, pin: int) -> bool:
        return bool(self.world.pin_factory.pin(pin).state)

    @property
    def coil(self) -> bool:
        return self.level(self.settings.contactor.pin)

    def new_loop(self) -> Loop:
        return assemble(
            self.settings, clock=self.clock, open_bus=self.world.open_bus,
            pin_factory=self.world.pin_factory, state_dir=self.folder, inboxes=[self.mailbox],
            publisher=LastSnapshot(), simulated=True, one_wire=self.world.one_wire,
            journal=self.journal,
        )  # fmt: skip

    def run(self, until_s: float) -> None:
        while self.clock.now_s() < until_s:
            before = self.loop.guard.circuit
            self.loop.cycle()
            self.note(before, self.loop.guard.circuit)
            if self.settings.contactor.drive == "level":
                assert self.coil is (self.loop.guard.circuit is Circuit.CLOSED)

    def note(self, before: Circuit, after: Circuit) -> None:
        if before is not after:
            if after is Circuit.LOCKED_OUT:
                self.locked_at_s.append(self.clock.now_s())
            if before is Circuit.LOCKED_OUT:
                self.resets_at_s.append(self.clock.now_s())

    def watch_readings(self) -> None:
        """Note each cycle in which every fitted channel gave a good, fresh, in-limit reading."""
        acquire = self.loop._acquire
        limits = self.settings.protection

        def noted(pace: Pace) -> Readings:
            readings = acquire(pace)
            good = all(
                reading.good_value is not None and self.clock.now_s() - reading.taken_at_s < 0.25
                for reading in readings.scan.values()
            )
            volts = [
                reading.good_value or 0.0
                for channel, reading in readings.scan.items()
                if channel is not Channel.SHUNT
            ]
            highest_v = limits.overvoltage_high_set.trip_volts + 0.1
            if good and all(1.0 <= v <= highest_v for v in volts):
                self.entitled_at_s.append(self.clock.now_s())
            return readings

        self.loop._acquire = noted  # type: ignore[method-assign]

    def spells_on(self) -> list[tuple[float, float]]:
        """When the coil's pin was high: from, to."""
        spells, since_s = [], None
        for change in self.world.pin_factory.levels:
            if change.pin != self.settings.contactor.pin:
                continue
            if change.level:
                since_s = change.at_s
            elif since_s is not None:
                spells.append((since_s, change.at_s))
                since_s = None
        if since_s is not None:
            spells.append((since_s, self.clock.now_s()))
        return spells


def heal(bench: LoopBench) -> None:
    for kind in {fault.kind for fault in bench.world.faults}:
        bench.world.clear(kind)


def with_level_drive(settings: SupervisorSettings) -> SupervisorSettings:
    """The same build with the simple coil driver: high is closed."""
    contactor = settings.contactor.model_copy(
        update={"drive": "level", "dropout_milliseconds": None}
    )
    return settings.model_copy(update={"contactor": contactor})
