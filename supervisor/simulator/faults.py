"""All faults a scenario can name, told apart by ``kind``; and those of the machine itself."""

from typing import Annotated, Literal, get_args

from pydantic import Field

from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.fault import FaultSettings
from supervisor.simulator.faults_bank import CellDead, CellShorted, LinkOpen, LinkPoor
from supervisor.simulator.faults_contactor import (
    AuxiliaryStuck,
    CoilOpen,
    ContactBounce,
    ContactorStuckOpen,
    ContactorWelded,
    DriverActiveLow,
    RelayWelded,
    SlowRelease,
)
from supervisor.simulator.faults_electric import MainsSag, ReverseFlow
from supervisor.simulator.faults_electronic import (
    BusError,
    BusHang,
    BusStuckLow,
    ChipAbsent,
    ChipCoarse,
    ChipForeign,
    ChipFrozen,
    ChipReset,
    ChipSlow,
    IsolatedFullScale,
    IsolatedZeros,
    ShiftedWords,
    SlowBus,
)
from supervisor.simulator.faults_leads import (
    LeadElsewhere,
    LeadOffset,
    LeadOpen,
    LeadResistance,
    LeadReversed,
    LeadShorted,
    LeadsSwapped,
    ShuntDrift,
    ShuntOffset,
    ShuntReversed,
    ShuntSilent,
)
from supervisor.simulator.faults_second_line import AlertWireOpen, SecondLineElsewhere
from supervisor.simulator.faults_thermal import Cold, Hot, ProbeAtPowerOn, ProbeLost, ProbeStuck
from supervisor.simulator.rig import Rig


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
    | ChipCoarse
    | ChipForeign
    | IsolatedZeros
    | IsolatedFullScale
    | LeadOpen
    | LeadOffset
    | LeadShorted
    | LeadReversed
    | LeadElsewhere
    | LeadsSwapped
    | LeadResistance
    | ShuntDrift
    | ShuntReversed
    | ShuntSilent
    | ShuntOffset
    | ContactorWelded
    | ContactorStuckOpen
    | SlowRelease
    | DriverActiveLow
    | CoilOpen
    | ContactBounce
    | RelayWelded
    | AuxiliaryStuck
    | LinkOpen
    | LinkPoor
    | CellShorted
    | CellDead
    | ReverseFlow
    | MainsSag
    | AlertWireOpen
    | SecondLineElsewhere
    | ProbeLost
    | ProbeStuck
    | ProbeAtPowerOn
    | Hot
    | Cold
    | Stall
    | WallStep
    | StopButton,
    Field(discriminator="kind"),
]


def kinds() -> dict[str, type[FaultSettings]]:
    """Every fault by its kind; a new one joins by itself."""
    models = get_args(get_args(Fault)[0])
    return {get_args(model.model_fields["kind"].annotation)[0]: model for model in models}
