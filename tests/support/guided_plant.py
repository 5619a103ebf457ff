"""A simulated plant before the guide, window by window, with noise and a flickering mains."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from supervisor.guidance.guide import Guide, Order
from supervisor.readings import Channel, ContactorState, Pace, Quality, Reading, Readings
from supervisor.settings.load import read_document
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.plant import Plant
from supervisor.sizing.fitness import examine_document, fit
from supervisor.snapshot import Circuit

NOISE_V, NOISE_A = 60e-6, 0.03  # of a window's mean
FLICKER = 0.002  # of the mains voltage, rms, from second to second


def settings_of(hut: Path, cells: int, each_ah: float, **overrides: Any) -> SupervisorSettings:
    changes = {
        "bank.cells_in_parallel": cells,
        "bank.cell_ampere_hours": each_ah,
        "protection.session_charge.trip_ampere_hours": cells * each_ah,
        "charge.full.least_percent": 0,
        "profiles": {},
    }
    named = {key.replace("__", "."): value for key, value in overrides.items()}
    return fit(examine_document(read_document(hut).with_overrides(changes | named)))


@dataclass
class GuidedPlant:
    """Closed for good, at a knob that somebody may turn: ``plant.turn_knob``."""

    settings: SupervisorSettings
    cells: dict[str, Any]
    knob: float
    seed: int = 1
    supply: dict[str, Any] = field(default_factory=dict)
    now_s: float = field(default=0.0, init=False)

    def __post_init__(self) -> None:
        described = {"cells": self.cells} | ({"supply": self.supply} if self.supply else {})
        self.plant = Plant(
            self.settings, PlantSettings.model_validate(described), 0.0, seed=self.seed
        )
        self.plant.change(0.0, self.plant._close_for_good)
        self.plant.turn_knob(self.knob, 0.0, 60.0)
        self.guide = Guide(self.settings)
        self.circuit = Circuit.CLOSED
        self.told_at_s = 0.0
        self._rng = Random(self.seed)

    def windows(self, until_s: float) -> Iterator[Order]:
        """What the guide asks for, after each window."""
        window_s = self.settings.loop.window_s
        while self.now_s < until_s:
            second = int(self.now_s)
            self.now_s += window_s
            if int(self.now_s) != second:
                self.plant.supply.sag_factor = 1.0 + self._rng.gauss(0, FLICKER)
                self.plant.change(self.now_s, lambda: None)
            self.plant.advance(self.now_s)
            yield self.guide.take(self.readings(), (), self.circuit, self.now_s)

    def readings(self) -> Readings:
        plant, rng = self.plant, self._rng
        values = {
            Channel.FRONT_CELL: plant.cell_v(0) + rng.gauss(0, NOISE_V),
            Channel.FAR_CELL: plant.cell_v(-1) + rng.gauss(0, NOISE_V),
            Channel.SHUNT: plant.current_a + rng.gauss(0, NOISE_A),
        }
        window = {
            channel: Reading(channel, value, Quality.GOOD, 0.1, self.now_s, value, value)
            for channel, value in values.items()
        }
        closed = self.circuit is Circuit.CLOSED
        contactor = ContactorState(closed, self.told_at_s, closed)
        return Readings(window, window, True, contactor, Pace(0.0, 0))
