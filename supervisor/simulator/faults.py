"""What can go wrong, as settings: every kind of fault knows how to strike the rig and to heal."""

from typing import Annotated, Any, Literal

from pydantic import Field

from supervisor.settings.base import Settings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.i2c import WireTrouble
from supervisor.simulator.rig import Rig

ChannelName = Literal["front_cell", "far_cell", "shunt"]
EveryNth = Annotated[int, Field(ge=2, le=1_000_000)]


class FaultSettings(Settings):
    """Base of the faults. ``strike`` and ``heal`` raise ValueError when the rig lacks the part."""

    def strike(self, rig: Rig) -> None:
        raise NotImplementedError

    def heal(self, rig: Rig) -> None:
        """Undo it; what happens in an instant has nothing to undo."""


# --- the wire


class _WireFault(FaultSettings):
    def trouble(self) -> dict[str, Any]:
        """Attributes of ``WireTrouble`` while it lasts."""
        raise NotImplementedError

    def strike(self, rig: Rig) -> None:
        for name, value in self.trouble().items():
            setattr(rig.wire.trouble, name, value)

    def heal(self, rig: Rig) -> None:
        healthy = WireTrouble()
        for name in self.trouble():
            setattr(rig.wire.trouble, name, getattr(healthy, name))


class BusError(_WireFault):
    """Transfers fail at once."""

    kind: Literal["bus_error"]
    errno: Literal[5, 6, 110, 121] = Field(
        default=121, description="What the kernel says: 121 no acknowledge, 5, 6, 110."
    )
    transfers: Annotated[int, Field(ge=1)] | None = Field(
        default=None, description="So many of them; left out: until cleared."
    )
    until_reopened: bool = Field(
        default=False, description="The bus state is lost until the bus is closed and opened."
    )

    def trouble(self) -> dict[str, Any]:
        return {
            "error": self.errno,
            "error_transfers": self.transfers,
            "error_until_reopened": self.until_reopened,
        }


class BusStuckLow(_WireFault):
    """The data line is held low: reads give 0000h, writes are acknowledged and lost."""

    kind: Literal["bus_stuck_low"]

    def trouble(self) -> dict[str, Any]:
        return {"stuck_low": True}


class SlowBus(_WireFault):
    """Every transfer takes longer."""

    kind: Literal["slow_bus"]
    factor: Annotated[float, Field(gt=1, le=1000)]

    def trouble(self) -> dict[str, Any]:
        return {"slow_factor": self.factor}


class BusHang(_WireFault):
    """Every transfer blocks in the driver, past any deadline, and then times out."""

    kind: Literal["bus_hang"]
    seconds: Annotated[float, Field(gt=0, le=3600)]

    def trouble(self) -> dict[str, Any]:
        return {"hang_s": self.seconds}


class ShiftedWords(_WireFault):
    """Words read arrive shifted by one bit."""

    kind: Literal["shifted_words"]
    every: Annotated[int, Field(ge=1, le=1_000_000)] = Field(
        description="Every Nth read; 1 is all of them."
    )

    def trouble(self) -> dict[str, Any]:
        return {"shift_every": self.every}


# --- the converter chips


class _ChipFault(FaultSettings):
    converter: str | None = Field(default=None, description="Its name; left out: all of them.")


class ChipAbsent(_ChipFault):
    """No answer: unpowered, or a wire is off."""

    kind: Literal["chip_absent"]
    errno: Literal[6, 121] = 121

    def strike(self, rig: Rig) -> None:
        rig.wire.absent_errno = self.errno
        rig.wire.absent |= self._addresses(rig)

    def heal(self, rig: Rig) -> None:
        """Power is back, so the chip starts from its defaults."""
        rig.wire.absent -= self._addresses(rig)
        for chip in rig.chips_named(self.converter):
            chip.reset(rig.now_s())

    def _addresses(self, rig: Rig) -> set[int]:
        names = rig.chips if self.converter is None else [self.converter]
        return {rig.address_of(name) for name in names}


class ChipReset(_ChipFault):
    """A brown-out: the chip is back at its defaults, a running conversion is lost."""

    kind: Literal["chip_reset"]

    def strike(self, rig: Rig) -> None:
        for chip in rig.chips_named(self.converter):
            chip.reset(rig.now_s())


class ChipFrozen(_ChipFault):
    """Conversions end, but the result never changes again."""

    kind: Literal["chip_frozen"]

    def strike(self, rig: Rig) -> None:
        for chip in rig.chips_named(self.converter):
            chip.trouble.frozen = True

    def heal(self, rig: Rig) -> None:
        for chip in rig.chips_named(self.converter):
            chip.trouble.frozen = False


class ChipSlow(_ChipFault):
    """Conversions take longer than the data sheet allows."""

    kind: Literal["chip_slow"]
    factor: Annotated[float, Field(gt=0, le=1000)]

    def strike(self, rig: Rig) -> None:
        for chip in rig.chips_named(self.converter):
            chip.trouble.slow_factor = self.factor

    def heal(self, rig: Rig) -> None:
        for chip in rig.chips_named(self.converter):
            chip.trouble.slow_factor = 1.0


class IsolatedZeros(_ChipFault):
    """Every Nth conversion ends as 0000h."""

    kind: Literal["isolated_zeros"]
    every: EveryNth

    def strike(self, rig: Rig) -> None:
        for chip in rig.chips_named(self.converter):
            chip.trouble.zero_every = self.every

    def heal(self, rig: Rig) -> None:
        for chip in rig.chips_named(self.converter):
            chip.trouble.zero_every = None


class IsolatedFullScale(_ChipFault):
    """Every Nth conversion ends as 7FFFh."""

    kind: Literal["isolated_full_scale"]
    every: EveryNth

    def strike(self, rig: Rig) -> None:
        for chip in rig.chips_named(self.converter):
            chip.trouble.full_scale_every = self.every

    def heal(self, rig: Rig) -> None:
        for chip in rig.chips_named(self.converter):
            chip.trouble.full_scale_every = None


# --- sense leads


class LeadOpen(FaultSettings):
    """A sense lead came off: the bleed resistor pulls the input to ground."""

    kind: Literal["lead_open"]
    channel: ChannelName

    def strike(self, rig: Rig) -> None:
        lead = rig.lead_of(self.channel)
        rig.change(lambda: setattr(lead, "open", True))

    def heal(self, rig: Rig) -> None:
        lead = rig.lead_of(self.channel)
        rig.change(lambda: setattr(lead, "open", False))


class LeadOffset(FaultSettings):
    """A lead reads wrong without looking broken: corroded joint, leakage, ground current."""

    kind: Literal["lead_offset"]
    channel: Literal["front_cell", "far_cell"]
    volts: Annotated[float, Field(ge=-5, le=5)]

    def strike(self, rig: Rig) -> None:
        lead = rig.lead_of(self.channel)
        rig.change(lambda: setattr(lead, "added", self.volts))

    def heal(self, rig: Rig) -> None:
        lead = rig.lead_of(self.channel)
        rig.change(lambda: setattr(lead, "added", 0.0))


class ShuntReversed(FaultSettings):
    """The shunt's sense wires are swapped: charging reads negative."""

    kind: Literal["shunt_reversed"]

    def strike(self, rig: Rig) -> None:
        lead = rig.lead_of("shunt")
        rig.change(lambda: setattr(lead, "reversed", True))

    def heal(self, rig: Rig) -> None:
        lead = rig.lead_of("shunt")
        rig.change(lambda: setattr(lead, "reversed", False))


# --- contactor


class ContactorWelded(FaultSettings):
    """The main contact, once closed, stays closed whatever the coil does."""

    kind: Literal["contactor_welded"]

    def strike(self, rig: Rig) -> None:
        rig.change(lambda: setattr(rig.plant.contactor, "welded", True))

    def heal(self, rig: Rig) -> None:
        rig.change(rig.plant.contactor.mend)


class ContactorStuckOpen(FaultSettings):
    """The main contact does not close."""

    kind: Literal["contactor_stuck_open"]

    def strike(self, rig: Rig) -> None:
        rig.change(lambda: setattr(rig.plant.contactor, "stuck_open", True))

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
        rig.change(lambda: setattr(rig.plant.supply, "reverse_ohm", self.ohms))

    def heal(self, rig: Rig) -> None:
        rig.change(lambda: setattr(rig.plant.supply, "reverse_ohm", None))


class MainsSag(FaultSettings):
    """The mains voltage is another one: below 1 a sag, 0 a power cut, above 1 a swell."""

    kind: Literal["mains_sag"]
    factor: Annotated[float, Field(ge=0, le=1.5)]

    def strike(self, rig: Rig) -> None:
        rig.change(lambda: setattr(rig.plant.supply, "sag_factor", self.factor))

    def heal(self, rig: Rig) -> None:
        rig.change(lambda: setattr(rig.plant.supply, "sag_factor", 1.0))


# --- the machine and its operator


class Stall(FaultSettings):
    """The loop is not scheduled for a while: its next sleep lasts longer."""

    kind: Literal["stall"]
    seconds: Annotated[float, Field(gt=0, le=3600)]
    whole_process: bool = Field(
        default=False, description="Its alarms stand still as well: only hardware goes on."
    )

    def strike(self, rig: Rig) -> None:
        _simulated(rig, self.kind).stall(self.seconds, alarms_too=self.whole_process)


class WallStep(FaultSettings):
    """The wall clock jumps, as at the first time sync."""

    kind: Literal["wall_step"]
    seconds: Annotated[float, Field(ge=-1e10, le=1e10)]

    def strike(self, rig: Rig) -> None:
        _simulated(rig, self.kind).step_wall(self.seconds)


class StopButton(FaultSettings):
    """The stop button is pressed, or its wire is broken."""

    kind: Literal["stop_button"]

    def strike(self, rig: Rig) -> None:
        rig.stop_pressed = True
        rig.pin_factory.refresh()

    def heal(self, rig: Rig) -> None:
        rig.stop_pressed = False
        rig.pin_factory.refresh()


def _simulated(rig: Rig, kind: str) -> SimulatedClock:
    if not isinstance(rig.clock, SimulatedClock):
        raise ValueError(f"fault {kind} needs the simulated clock: real time cannot be made to")
    return rig.clock


Fault = Annotated[
    BusError
    | BusStuckLow
    | SlowBus
    | BusHang
    | ShiftedWords
    | ChipAbsent
    | ChipReset
    | ChipFrozen
    | ChipSlow
    | IsolatedZeros
    | IsolatedFullScale
    | LeadOpen
    | LeadOffset
    | ShuntReversed
    | ContactorWelded
    | ContactorStuckOpen
    | SlowRelease
    | AuxiliaryStuck
    | LinkOpen
    | ReverseFlow
    | MainsSag
    | Stall
    | WallStep
    | StopButton,
    Field(discriminator="kind"),
]
