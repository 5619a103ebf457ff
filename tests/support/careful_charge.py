"""Hours of fault-free charging, as the rules see them: noise, ripple, mains, a careful operator.

The plant's true means, with what measuring adds, one cycle a window; the single conversions of that
cycle are the highest of its window, so that nothing that the loop would see is left out.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import pi, sin
from random import Random

from supervisor.measurement.uncertainty import lsb_v
from supervisor.readings import (
    Channel,
    ContactorState,
    Pace,
    Place,
    ProbeReading,
    Quality,
    Reading,
    Readings,
    SecondLine,
)
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.hardware import CellChannel
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.plant import Plant

NOISE_LSB = 1.0  # of a conversion, rms; the sheet's noise is about half that (memory)
HIGHEST_OF_A_WINDOW = 3.5  # sigmas
FILTER_PASSES = 0.07  # first order, 7 Hz, at 100 Hz
BEAT = 0.01  # of the ripple is left in a mean at +-0.5 Hz: |sinc|, 0.009860 at 50.5 Hz over 100 ms
STEP_S = 1.0  # of plant and mains
FLICKER = 0.004  # of the mains voltage, rms
KEPT = 0.78  # of it from step to step: forgotten after some four seconds
LOOKS_EVERY_S = 10.0  # the operator
EASES_ABOVE_V, TURNS_UP_BELOW_V = 3.565, 3.53


@dataclass
class CarefulCharge:
    """One session. ``hertz`` is the mains' frequency; the same seed gives the same session."""

    settings: SupervisorSettings
    seed: int
    hertz: float = 50.0
    state_of_charge: float = 0.97
    hours: float = 0.0  # so far
    highest_v: float = field(default=0.0, init=False)

    def readings(self, hours: float) -> Iterator[tuple[float, Readings]]:
        """(now, readings) for each window of so many hours."""
        rng = Random(self.seed)
        plant = self._plant()
        window_s = self.settings.loop.window_s
        windows_per_step = round(STEP_S / window_s)
        contactor = ContactorState(told_to_close=True, told_at_s=0.0, auxiliary_closed=True)
        knob, target, flicker, look_s = 0.0, 0.80, 0.0, 60.0
        plant.turn_knob(target, 0.0, 60.0)
        for k in range(1, round(hours * 3600 / window_s) + 1):
            now_s = k * window_s
            if k % windows_per_step == 0:
                flicker = KEPT * flicker + rng.gauss(0, FLICKER * (1 - KEPT**2) ** 0.5)
                plant.supply.sag_factor = 1.0 + flicker
                plant.change(now_s, lambda: None)
            if now_s >= look_s:
                look_s += LOOKS_EVERY_S
                knob = self._operator(plant.cell_v(0), target, rng)
                if knob != target:
                    target = knob
                    plant.turn_knob(target, now_s, rng.uniform(0.1, 0.5))
            self.highest_v = max(self.highest_v, plant.max_cell_v)
            yield now_s, self._seen(plant, now_s, rng, contactor)
        self.hours += hours

    def _plant(self) -> Plant:
        plant = Plant(
            self.settings,
            PlantSettings.model_validate(
                {
                    "cells": {
                        "state_of_charge": self.state_of_charge,
                        "state_of_charge_offsets": tuple(
                            0.001 - 0.003 * k / (self.settings.bank.cells_in_parallel - 1)
                            for k in range(self.settings.bank.cells_in_parallel)
                        ),
                    }
                }
            ),
        )
        plant.change(0.0, plant._close_for_good)
        return plant

    def _operator(self, front_v: float, target: float, rng: Random) -> float:
        """Eases down near the limit, a little up again when the voltage has come down."""
        if front_v > EASES_ABOVE_V:
            return max(0.0, target - rng.uniform(0.005, 0.02))
        if front_v < TURNS_UP_BELOW_V and target < 0.80:
            return min(0.80, target + rng.uniform(0.002, 0.01))
        return target

    def _seen(self, plant: Plant, now_s: float, rng: Random, contactor: ContactorState) -> Readings:
        ripple_a = plant.current_ripple_a * FILTER_PASSES
        beat = BEAT * sin(2 * pi * 1.0 * now_s)  # twice half a hertz
        scan: dict[Channel, Reading] = {}
        window: dict[Channel, Reading] = {}
        for channel, wiring in fitted_channels(self.settings).items():
            if isinstance(wiring, CellChannel):
                group = 0 if channel is Channel.FRONT_CELL else -1
                true, ripple = plant.cell_v(group), plant.cell_ripple_v(group) * FILTER_PASSES
                step = lsb_v(wiring) * wiring.gain
            else:
                true, ripple = plant.current_a, ripple_a
                step = lsb_v(wiring) / wiring.ohms
            noise = NOISE_LSB * step
            scans = self.settings.loop.scans_per_window
            mean = true + beat * ripple + rng.gauss(0, noise / scans**0.5)
            highest = true + ripple + HIGHEST_OF_A_WINDOW * noise
            window[channel] = Reading(channel, mean, Quality.GOOD, 0.0, now_s, mean, highest)
            scan[channel] = Reading(channel, highest, Quality.GOOD, 0.0, now_s, highest, highest)
        probes = {
            name: ProbeReading(name, Place(probe.place), 25.0, Quality.GOOD, now_s)
            for name, probe in self.settings.probes.items()
        }
        second = SecondLine(False, "", 0.0) if self.settings.second_line else None
        return Readings(scan, window, True, contactor, Pace(0.0, 0), probes, second)
