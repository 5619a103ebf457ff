"""Windows of a plant that somebody works with: knob, contactor, faults, and converter noise."""

from collections.abc import Callable, Iterable, Iterator
from random import Random
from typing import Any

from supervisor.measurement.uncertainty import lsb_v
from supervisor.readings import Channel, ContactorState, Pace, Quality, Reading, Readings
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.ladder import OPEN_OHM
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.plant import Plant

NOISE_LSB = 0.5  # rms of a conversion in the wide ranges, pessimistic (memory)
FLICKER_EVERY_S = 1.0

Shown = Callable[[Channel, float], float]  # what a channel shows, instead of the truth
Act = tuple[float, Callable[["KnobWork"], None]]


def as_it_is(_channel: Channel, true: float) -> float:
    return true


class KnobWork:
    """A plant, and what measuring makes of it; times in seconds, contactor open at first."""

    def __init__(
        self,
        settings: SupervisorSettings,
        plant: dict[str, Any],
        *,
        seed: int = 1,
        flicker: float = 0.0,
    ) -> None:
        """``flicker`` is the mains' restlessness from second to second, rms share."""
        level = settings.contactor.model_copy(update={"drive": "level"})
        self.settings = settings.model_copy(update={"contactor": level, "mains_contactor": None})
        self.plant = Plant(self.settings, PlantSettings.model_validate(plant))
        self.shown: Shown = as_it_is
        self.contactor = ContactorState(False, 0.0, False)
        self.now_s = 0.0
        self._rng = Random(seed)
        self._flicker = flicker

    # -- acts

    def close(self) -> None:
        self._drive(True)

    def open(self) -> None:
        self._drive(False)

    def knob(self, to: float, over_s: float = 0.0) -> None:
        self.plant.turn_knob(to, self.now_s, over_s)

    def link_opens(self, behind: int) -> None:
        self.plant.change(self.now_s, lambda: self.plant.bank.set_link("plus", behind, OPEN_OHM))

    # -- what is seen

    def run(self, acts: Iterable[Act], seconds: float) -> Iterator[tuple[float, Readings]]:
        """(now, readings) at the end of each window, with these acts at their times."""
        due = sorted(acts, key=lambda act: act[0])
        window_s = self.settings.loop.window_s
        ends_at_s = self.now_s + seconds
        number = round(self.now_s / window_s)
        while self.now_s < ends_at_s - window_s / 2:
            while due and due[0][0] <= self.now_s:
                due.pop(0)[1](self)
            if self._flicker and number % round(FLICKER_EVERY_S / window_s) == 0:
                self.plant.supply.sag_factor = 1 + self._rng.gauss(0, self._flicker)
                self.plant.change(self.now_s, lambda: None)
            number += 1
            window = self._window(number * window_s)
            self.now_s = number * window_s
            yield self.now_s, Readings(window, window, True, self.contactor, Pace(0.0, 0))

    def _drive(self, close: bool) -> None:
        self.plant.drive(self.plant.contactor, close, self.now_s)
        self.contactor = ContactorState(close, self.now_s, close)

    def _window(self, end_s: float) -> dict[Channel, Reading]:
        scans = self.settings.loop.scans_per_window
        wired = fitted_channels(self.settings)
        codes: dict[Channel, list[int]] = {channel: [] for channel in wired}
        for k in range(scans):
            self.plant.advance(end_s - self.settings.loop.window_s * (1 - (k + 0.5) / scans))
            for channel, taken in codes.items():
                step = self._step(channel)
                value = self.shown(channel, self._true(channel))
                taken.append(round(value / step + self._rng.gauss(0, NOISE_LSB)))
        window = {}
        for channel, taken in codes.items():
            step = self._step(channel)
            mean, low, high = sum(taken) / scans * step, min(taken) * step, max(taken) * step
            window[channel] = Reading(channel, mean, Quality.GOOD, 0.001, end_s, low, high)
        return window

    def _true(self, channel: Channel) -> float:
        if channel is Channel.SHUNT:
            return self.plant.current_a
        return self.plant.cell_v(0 if channel is Channel.FRONT_CELL else -1)

    def _step(self, channel: Channel) -> float:
        if channel is Channel.SHUNT:
            shunt = self.settings.channels.shunt
            return lsb_v(shunt) / shunt.ohms
        return self.settings.channels.front_cell.step_volts
