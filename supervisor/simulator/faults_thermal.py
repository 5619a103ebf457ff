"""Faults of temperature probes, and of what keeps the parts cool."""

from typing import Annotated, Literal

from pydantic import Field

from supervisor.readings import Place
from supervisor.simulator.fault import FaultSettings
from supervisor.simulator.probes import SimulatedProbe
from supervisor.simulator.rig import Rig

# --- probes


class _ProbeFault(FaultSettings):
    probe: str = Field(description="Its name in the settings.")

    def _found(self, rig: Rig) -> SimulatedProbe:
        try:
            return rig.probes[self.probe]
        except KeyError:
            known = ", ".join(rig.probes) or "none"
            raise ValueError(f"no probe is named {self.probe!r}; there are: {known}") from None


class ProbeLost(_ProbeFault):
    """No answer: a wire is off."""

    kind: Literal["probe_lost"]

    def strike(self, rig: Rig) -> None:
        self._found(rig).lost = True
        rig.wire.absent |= self._addresses(rig)

    def heal(self, rig: Rig) -> None:
        self._found(rig).lost = False
        rig.wire.absent -= self._addresses(rig)

    def _addresses(self, rig: Rig) -> set[int]:
        address = rig.settings.probes[self.probe].address
        return set() if address is None else {address}


class ProbeStuck(_ProbeFault):
    """It goes on saying what it says now: it fell off and lies in still air, say."""

    kind: Literal["probe_stuck"]

    def strike(self, rig: Rig) -> None:
        probe = self._found(rig)
        probe.stuck_c = probe.celsius(rig.now_s())

    def heal(self, rig: Rig) -> None:
        self._found(rig).stuck_c = None


class ProbeAtPowerOn(_ProbeFault):
    """A ds18b20 that loses its supply again and again: 85 degrees, never measured."""

    kind: Literal["probe_at_power_on"]

    def strike(self, rig: Rig) -> None:
        probe = self._found(rig)
        if rig.settings.probes[self.probe].chip != "ds18b20":
            raise ValueError(f"probe {self.probe} is no ds18b20: only that one shows 85 degrees")
        probe.at_power_on = True

    def heal(self, rig: Rig) -> None:
        self._found(rig).at_power_on = False


# --- cooling


class Hot(FaultSettings):
    """A part gets hotter: a blocked fan, dust, a sheet over it."""

    kind: Literal["heat"]
    place: Literal["heat_sink", "transformer", "cells"]
    kelvin: Annotated[float, Field(gt=0, le=1000)] = Field(
        description="So much hotter in the end; it gets there with the part's time constant."
    )

    def strike(self, rig: Rig) -> None:
        self._add(rig, self.kelvin)

    def heal(self, rig: Rig) -> None:
        self._add(rig, -self.kelvin)

    def _add(self, rig: Rig, kelvin: float) -> None:
        place = Place(self.place)

        def add() -> None:
            rig.heat.added_k[place] += kelvin

        rig.change(add)


class Cold(FaultSettings):
    """A cold room, and everything in it."""

    kind: Literal["cold"]
    ambient_celsius: Annotated[float, Field(ge=-50, le=60)]

    def strike(self, rig: Rig) -> None:
        self._set(rig, self.ambient_celsius)

    def heal(self, rig: Rig) -> None:
        self._set(rig, rig.plant_settings.thermal.ambient_celsius)

    def _set(self, rig: Rig, ambient_c: float) -> None:
        rig.change(lambda: setattr(rig.heat, "ambient_c", ambient_c))
