"""Faults of the sense leads and of the shunt."""

from typing import Annotated, Literal

from pydantic import Field

from supervisor.readings import Channel
from supervisor.settings.hardware import CellChannel
from supervisor.simulator.fault import FaultSettings, set_on
from supervisor.simulator.lead import open_input_v
from supervisor.simulator.rig import Rig

CellName = Literal["front_cell", "far_cell"]
ChannelName = Literal["front_cell", "far_cell", "shunt"]
CellVolts = Annotated[float, Field(ge=-5, le=5)]


class LeadOpen(FaultSettings):
    """A sense lead came off: a resistor pulls the input to ground, or to ``open_lead_volts``."""

    kind: Literal["lead_open"]
    channel: ChannelName

    def strike(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of(self.channel), "held_v", _open_input_v(rig, self.channel))

    def heal(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of(self.channel), "held_v", None)


class LeadShorted(FaultSettings):
    """The two wires of a sense lead touch, and its fuse has blown."""

    kind: Literal["lead_shorted"]
    channel: CellName

    def strike(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of(self.channel), "held_v", 0.0)

    def heal(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of(self.channel), "held_v", None)


class LeadReversed(FaultSettings):
    """The two wires of a sense lead are swapped."""

    kind: Literal["lead_reversed"]
    channel: CellName

    def strike(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of(self.channel), "reversed", True)

    def heal(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of(self.channel), "reversed", False)


class LeadsSwapped(FaultSettings):
    """Front and far cell's leads have changed places."""

    kind: Literal["leads_swapped"]

    def strike(self, rig: Rig) -> None:
        front, far = rig.lead_of("front_cell"), rig.lead_of("far_cell")
        rig.change(lambda: front.trade_places(far))
        rig.leads.update({Channel.FRONT_CELL: far, Channel.FAR_CELL: front})

    def heal(self, rig: Rig) -> None:
        self.strike(rig)


class LeadElsewhere(FaultSettings):
    """A sense lead sits on another battery: a cell's voltage with noise, deaf to the current."""

    kind: Literal["lead_elsewhere"]
    channel: CellName
    volts: CellVolts

    def strike(self, rig: Rig) -> None:
        lead = rig.lead_of(self.channel)
        gain = getattr(rig.settings.channels, self.channel).gain
        set_on(rig, lead, "held_v", self.volts / gain)

    def heal(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of(self.channel), "held_v", None)


class LeadOffset(FaultSettings):
    """A lead reads wrong without looking broken: corroded joint, leakage, ground current."""

    kind: Literal["lead_offset"]
    channel: CellName
    volts: CellVolts

    def strike(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of(self.channel), "added", self.volts)

    def heal(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of(self.channel), "added", 0.0)


class LeadResistance(FaultSettings):
    """A corroded joint in a sense lead: it divides with the resistor at the input."""

    kind: Literal["lead_resistance"]
    channel: ChannelName
    kilohms: Annotated[float, Field(gt=0, le=1e6)]

    def strike(self, rig: Rig) -> None:
        self._add(rig, self.kilohms * 1000)

    def heal(self, rig: Rig) -> None:
        self._add(rig, 0.0)

    def _add(self, rig: Rig, ohm: float) -> None:
        lead = rig.lead_of(self.channel)
        rig.change(lambda: lead.add_ohm(ohm))


class ShuntDrift(FaultSettings):
    """The shunt has been too hot once: its resistance is another one for good."""

    kind: Literal["shunt_drift"]
    percent: Annotated[float, Field(ge=-50, le=50)]

    def strike(self, rig: Rig) -> None:
        set_on(rig, rig.shunt, "drift", self.percent / 100)

    def heal(self, rig: Rig) -> None:
        set_on(rig, rig.shunt, "drift", 0.0)


class ShuntReversed(FaultSettings):
    """The shunt's sense wires are swapped: charging reads negative."""

    kind: Literal["shunt_reversed"]

    def strike(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of("shunt"), "reversed", True)

    def heal(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of("shunt"), "reversed", False)


class ShuntSilent(FaultSettings):
    """The shunt's sense wires touch each other: no current shows."""

    kind: Literal["shunt_silent"]

    def strike(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of("shunt"), "held_v", 0.0)

    def heal(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of("shunt"), "held_v", None)


class ShuntOffset(FaultSettings):
    """Amperes that do not flow: thermo-voltage, leakage, another current in the sense wires."""

    kind: Literal["shunt_offset"]
    amperes: Annotated[float, Field(ge=-1000, le=1000)]

    def strike(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of("shunt"), "added", self.amperes)

    def heal(self, rig: Rig) -> None:
        set_on(rig, rig.lead_of("shunt"), "added", 0.0)


def _open_input_v(rig: Rig, channel: ChannelName) -> float:
    wiring = getattr(rig.settings.channels, channel)
    return open_input_v(wiring) if isinstance(wiring, CellChannel) else 0.0
