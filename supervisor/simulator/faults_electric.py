"""Faults of sense leads, contactor, bank and supply."""

from typing import Annotated, Literal

from pydantic import Field

from supervisor.simulator.fault import FaultSettings
from supervisor.simulator.rig import Rig

ChannelName = Literal["front_cell", "far_cell", "shunt"]


def _set(rig: Rig, part: object, name: str, value: object) -> None:
    rig.change(lambda: setattr(part, name, value))


# --- sense leads


class LeadOpen(FaultSettings):
    """A sense lead came off: the bleed resistor pulls the input to ground."""

    kind: Literal["lead_open"]
    channel: ChannelName

    def strike(self, rig: Rig) -> None:
        _set(rig, rig.lead_of(self.channel), "open", True)

    def heal(self, rig: Rig) -> None:
        _set(rig, rig.lead_of(self.channel), "open", False)


class LeadOffset(FaultSettings):
    """A lead reads wrong without looking broken: corroded joint, leakage, ground current."""

    kind: Literal["lead_offset"]
    channel: Literal["front_cell", "far_cell"]
    volts: Annotated[float, Field(ge=-5, le=5)]

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
