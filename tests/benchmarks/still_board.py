"""A whole loop in virtual time on chips whose inputs are three numbers: cheap, and still.

The real driver, wire time and conversion times included; no plant behind it.
"""

from pathlib import Path
from random import Random

from supervisor.control.assemble import assemble
from supervisor.control.publisher import LastSnapshot, Publisher
from supervisor.control.recorder import Sink
from supervisor.control.requests import Mailbox
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.ads1115 import ADS1115
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.i2c import SimulatedI2C, Wire
from supervisor.simulator.pins import PlantFactory

FRONT_V, FAR_V, CLOSED_SHUNT_V = 3.400, 3.399, 0.020
NEVER = float("inf")


class StillBoard:
    """Two chips, a contactor that follows at once, a front cell whose voltage may step once."""

    def __init__(
        self,
        settings: SupervisorSettings,
        folder: Path,
        *,
        publisher: Publisher | None = None,
        journal: Sink | None = None,
        seed: int = 1,
    ) -> None:
        self.clock = SimulatedClock()
        self.settings = settings
        self.coil_on = False
        self.coil_off_at_s: float | None = None
        self.step_at_s, self.stepped_v = NEVER, FRONT_V
        self.ended_past_step_s: list[float] = []
        """When the conversions of the front cell ended that saw the step."""
        wire = Wire(self.clock, settings.bus.kilohertz)
        analogs = {"cells": self._cell_v, "current": self._shunt_v}
        for name, converter in settings.converters.items():
            wire.chips[converter.address] = ADS1115(analogs[name], Random(f"{seed} {name}"))
        self.mailbox = Mailbox()
        self.loop = assemble(
            settings, clock=self.clock, open_bus=lambda: SimulatedI2C(wire),
            pin_factory=self._pins(), state_dir=folder, inboxes=[self.mailbox],
            publisher=publisher or LastSnapshot(), simulated=True, journal=journal,
        )  # fmt: skip

    def run(self, for_s: float) -> None:
        until_s = self.clock.now_s() + for_s
        while self.clock.now_s() < until_s:
            self.loop.cycle()

    def close_circuit(self) -> None:
        self.run(2.0)
        self.mailbox.put("close")
        self.run(2.0)
        if not self.coil_on:
            raise RuntimeError(f"does not close: {self.mailbox.replies}")

    def _pins(self) -> PlantFactory:
        contactor, stop = self.settings.contactor, self.settings.panel.stop_button
        factory = PlantFactory(self.clock.now_s)
        factory.listener = self._level_changes
        if contactor.auxiliary:
            factory.contacts[contactor.auxiliary.pin] = lambda: not self.coil_on
        if stop:
            factory.contacts[stop.pin] = lambda: True
        return factory

    def _level_changes(self, pin: int, level: bool) -> None:
        if pin == self.settings.contactor.pin:
            self.coil_on = level
            self.coil_off_at_s = None if level else self.clock.now_s()

    def _cell_v(self, pin: int, middle_s: float, span_s: float) -> float:
        if pin != 0:
            return FAR_V if pin == 2 else 0.0
        if middle_s < self.step_at_s:
            return FRONT_V
        self.ended_past_step_s.append(middle_s + span_s / 2)
        return self.stepped_v

    def _shunt_v(self, pin: int, _middle_s: float, _span_s: float) -> float:
        return CLOSED_SHUNT_V if pin == 0 and self.coil_on else 0.0
