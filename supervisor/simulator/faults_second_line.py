"""Faults of the second line's wires. Its chip has those of any converter, by its name."""

from typing import Annotated, Literal

from pydantic import Field

from supervisor.simulator.fault import FaultSettings
from supervisor.simulator.rig import Rig
from supervisor.simulator.second_line import SecondLineWiring


class AlertWireOpen(FaultSettings):
    """ALERT reaches neither the coil driver nor the pin: both are pulled up and see no alert."""

    kind: Literal["alert_wire_open"]

    def strike(self, rig: Rig) -> None:
        _wiring(rig).cut_wire(True, rig.now_s())

    def heal(self, rig: Rig) -> None:
        _wiring(rig).cut_wire(False, rig.now_s())


class SecondLineElsewhere(FaultSettings):
    """Its lead sits on something other than the front cell; 0 V is a lead that came off."""

    kind: Literal["second_line_elsewhere"]
    volts: Annotated[float, Field(ge=-5, le=5)]

    def strike(self, rig: Rig) -> None:
        wiring = _wiring(rig)
        rig.change(lambda: setattr(wiring, "elsewhere_v", self.volts))

    def heal(self, rig: Rig) -> None:
        wiring = _wiring(rig)
        rig.change(lambda: setattr(wiring, "elsewhere_v", None))


def _wiring(rig: Rig) -> SecondLineWiring:
    if rig.second_line is None:
        raise ValueError("these settings have no second_line")
    return rig.second_line
