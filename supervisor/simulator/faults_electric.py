"""Faults of the supply and the mains behind it."""

from typing import Annotated, Literal

from pydantic import Field

from supervisor.simulator.fault import FaultSettings, set_on
from supervisor.simulator.rig import Rig


class ReverseFlow(FaultSettings):
    """The rectifier has failed: with the supply below the bank, current flows back."""

    kind: Literal["reverse_flow"]
    ohms: Annotated[float, Field(gt=0, le=1000)]

    def strike(self, rig: Rig) -> None:
        set_on(rig, rig.plant.supply, "reverse_ohm", self.ohms)

    def heal(self, rig: Rig) -> None:
        set_on(rig, rig.plant.supply, "reverse_ohm", None)


class MainsSag(FaultSettings):
    """The mains voltage is another one: below 1 a sag, 0 a power cut, above 1 a swell."""

    kind: Literal["mains_sag"]
    factor: Annotated[float, Field(ge=0, le=1.5)]

    def strike(self, rig: Rig) -> None:
        set_on(rig, rig.plant.supply, "sag_factor", self.factor)

    def heal(self, rig: Rig) -> None:
        set_on(rig, rig.plant.supply, "sag_factor", 1.0)
