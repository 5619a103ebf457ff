"""Faults of sense leads, contactor, bank and supply."""

from typing import Annotated, Literal

from pydantic import Field

from supervisor.settings.hardware import CellChannel
from supervisor.simulator.fault import FaultSettings
from supervisor.simulator.rig import Rig

CellName = Literal["front_cell", "far_cell"]
ChannelName = Literal["front_cell", "far_cell", "shunt"]
CellVolts = Annotated[float, Field(ge=-5, le=5)]


def _set(rig: Rig, part: object, name: str, value: object) -> None:
    rig.change(lambda: setattr(part, name, value))


# --- sense leads


class LeadOpen(FaultSettings):
    """A sense lead came off: a resistor pulls the input to ground, or to ``open_lead_volts``."""

    kind: Literal["lead_open"]
    channel: ChannelName

    def strike(self, rig: Rig) -> None:
        _set(rig, rig.lead_of(self.channel), "held_v", _open_input_v(rig, self.channel))

    def heal(self, rig: Rig) -> None:
        _set(rig, rig.lead_of(self.channel), "held_v", None)


class LeadShorted(FaultSettings):
    """The two wires of a sense lead touch, and its fuse has blown."""

    kind: Literal["lead_shorted"]
    channel: CellName

    def strike(self, rig: Rig) -> None:
        _set(rig, rig.lead_of(self.channel), "held_v", 0.0)

    def heal(self, rig: Rig) -> None:
        _set(rig, rig.lead_of(self.channel), "held_v", None)


class LeadReversed(FaultSettings):
    """The two wires of a sense lead are swapped."""

    kind: Literal["lead_reversed"]
    channel: CellName

    def strike(self, rig: Rig) -> None:
        _set(rig, rig.lead_of(self.channel), "reversed", True)

    def heal(self, rig: Rig) -> None:
        _set(rig, rig.lead_of(self.channel), "reversed", False)


class LeadElsewhere(FaultSettings):
    """A sense lead sits on another battery: a cell's voltage with noise, deaf to the current."""

    kind: Literal["lead_elsewhere"]
    channel: CellName
    volts: CellVolts

    def strike(self, rig: Rig) -> None:
        lead = rig.lead_of(self.channel)
        gain = getattr(rig.settings.channels, self.channel).gain
        _set(rig, lead, "held_v", self.volts / gain)

    def heal(self, rig: Rig) -> None:
        _set(rig, rig.lead_of(self.channel), "held_v", None)


class LeadOffset(FaultSettings):
    """A lead reads wrong without looking broken: corroded joint, leakage, ground current."""

    kind: Literal["lead_offset"]
    channel: CellName
    volts: CellVolts

    def strike(self, rig: Rig) -> None:
        _set(rig, rig.lead_of(self.channel), "added", self.volts)

    def heal(self, rig: Rig) -> None:
        _set(rig, rig.lead_of(self.channel), "added", 0.0)


class ShuntReversed(FaultSettings):
    """The shunt's sense wires are swapped: charging reads negative."""

    kind: Literal["shunt_reversed"]

    def strike(self, rig: Rig) -> None:
        _set(rig, rig.lead_of("shunt"), "reversed", True)

    def heal(self, rig: Rig) -> None:
        _set(rig, rig.lead_of("shunt"), "reversed", False)


class ShuntSilent(FaultSettings):
    """The shunt's sense wires touch each other: no current shows."""

    kind: Literal["shunt_silent"]

    def strike(self, rig: Rig) -> None:
        _set(rig, rig.lead_of("shunt"), "held_v", 0.0)

    def heal(self, rig: Rig) -> None:
        _set(rig, rig.lead_of("shunt"), "held_v", None)


class ShuntOffset(FaultSettings):
    """Amperes that do not flow: thermo-voltage, leakage, another current in the sense wires."""

    kind: Literal["shunt_offset"]
    amperes: Annotated[float, Field(ge=-1000, le=1000)]

    def strike(self, rig: Rig) -> None:
        _set(rig, rig.lead_of("shunt"), "added", self.amperes)

    def heal(self, rig: Rig) -> None:
        _set(rig, rig.lead_of("shunt"), "added", 0.0)


def _open_input_v(rig: Rig, channel: ChannelName) -> float:
    """What a converter's input is held at with its lead off."""
    wiring = getattr(rig.settings.channels, channel)
    if not isinstance(wiring, CellChannel) or wiring.open_lead_volts is None:
        return 0.0
    return (wiring.open_lead_volts - wiring.offset_volts) / wiring.gain


# --- contactor


class ContactorWelded(FaultSettings):
    """The main contact, once closed, stays closed whatever the coil does."""

    kind: Literal["contactor_welded"]

    def strike(self, rig: Rig) -> None:
        _set(rig, rig.plant.contactor, "welded", True)

    def heal(self, rig: Rig) -> None:
        rig.change(rig.plant.contactor.mend)


class ContactorStuckOpen(FaultSettings):
    """The main contact does not close."""

    kind: Literal["contactor_stuck_open"]

    def strike(self, rig: Rig) -> None:
        _set(rig, rig.plant.contactor, "stuck_open", True)

    def heal(self, rig: Rig) -> None:
        rig.change(rig.plant.contactor.mend)


class SlowRelease(FaultSettings):
    """The contactor opens late: a bare diode across the coil, sticky grease."""

    kind: Literal["slow_release"]
    milliseconds: Annotated[float, Field(gt=0, le=60000)]

    def strike(self, rig: Rig) -> None:
        rig.plant.contactor.release_s = self.milliseconds / 1000

    def heal(self, rig: Rig) -> None:
        rig.plant.contactor.release_s = rig.plant_settings.switches.release_milliseconds / 1000


class AuxiliaryStuck(FaultSettings):
    """The auxiliary contact says one thing whatever the main contact does."""

    kind: Literal["auxiliary_stuck"]
    shows: Literal["closed", "open"] = Field(description="State of the main contact it claims.")

    def strike(self, rig: Rig) -> None:
        rig.auxiliary_shows = self.shows == "closed"

    def heal(self, rig: Rig) -> None:
        rig.auxiliary_shows = None


# --- bank and supply


class LinkOpen(FaultSettings):
    """A link of the bars opens: fewer cells take the whole current."""

    kind: Literal["link_open"]
    behind_group: Annotated[int, Field(ge=1, le=63)] = Field(
        description="The link behind this group of cells; 1 is the front."
    )

    def strike(self, rig: Rig) -> None:
        rig.change(lambda: rig.plant.bank.open_link(self.behind_group))

    def heal(self, rig: Rig) -> None:
        rig.change(rig.plant.bank.close_links)


class ReverseFlow(FaultSettings):
    """The rectifier has failed: with the supply below the bank, current flows back."""

    kind: Literal["reverse_flow"]
    ohms: Annotated[float, Field(gt=0, le=1000)]

    def strike(self, rig: Rig) -> None:
        _set(rig, rig.plant.supply, "reverse_ohm", self.ohms)

    def heal(self, rig: Rig) -> None:
        _set(rig, rig.plant.supply, "reverse_ohm", None)


class MainsSag(FaultSettings):
    """The mains voltage is another one: below 1 a sag, 0 a power cut, above 1 a swell."""

    kind: Literal["mains_sag"]
    factor: Annotated[float, Field(ge=0, le=1.5)]

    def strike(self, rig: Rig) -> None:
        _set(rig, rig.plant.supply, "sag_factor", self.factor)

    def heal(self, rig: Rig) -> None:
        _set(rig, rig.plant.supply, "sag_factor", 1.0)
