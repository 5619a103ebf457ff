"""The temperature probes of the settings, each on its bus, fixed to a part of the plant."""

from collections.abc import Callable

from supervisor.readings import Place
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.heat import Heat
from supervisor.simulator.lm75 import LM75Chip


class SimulatedProbe:
    """One probe and what is wrong with it; the defaults are a healthy one."""

    def __init__(self, truth: Callable[[float], float]) -> None:
        self._truth = truth
        self.lost = False  # one-wire only; on the I2C bus the wire knows who is absent
        self.at_power_on = False  # one-wire only
        self.stuck_c: float | None = None

    def celsius(self, at_s: float) -> float:
        """What it makes of the temperature at its place."""
        return self._truth(at_s) if self.stuck_c is None else self.stuck_c


def build_probes(settings: SupervisorSettings, heat: Heat) -> dict[str, SimulatedProbe]:
    """By the names of the settings."""
    return {
        name: SimulatedProbe(_truth(heat, Place(probe.place)))
        for name, probe in settings.probes.items()
    }


def lm75_chips(
    settings: SupervisorSettings, probes: dict[str, SimulatedProbe]
) -> dict[int, LM75Chip]:
    """Those on the I2C bus, by address."""
    return {
        probe.address: LM75Chip(probes[name].celsius)
        for name, probe in settings.probes.items()
        if probe.address is not None
    }


def by_serial(
    settings: SupervisorSettings, probes: dict[str, SimulatedProbe]
) -> dict[str, SimulatedProbe]:
    """Those on the one-wire bus."""
    return {
        probe.serial: probes[name]
        for name, probe in settings.probes.items()
        if probe.serial is not None
    }


def _truth(heat: Heat, place: Place) -> Callable[[float], float]:
    return lambda at_s: heat.celsius(place, at_s)
