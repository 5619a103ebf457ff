"""Faults of the bars and of single cells."""

from typing import Annotated, Literal

from pydantic import Field

from supervisor.simulator.bank import Rail
from supervisor.simulator.fault import FaultSettings
from supervisor.simulator.ladder import OPEN_OHM
from supervisor.simulator.rig import Rig

BehindCell = Annotated[
    int, Field(ge=1, le=255, description="The link behind this cell; 1 is the front.")
]
WhichRail = Annotated[Rail, Field(description="Positive or negative bars.")]
CellNumber = Annotated[int, Field(ge=1, le=256, description="1 is the front.")]


class LinkOpen(FaultSettings):
    """A link of the bars is lifted: where the feed is at one end, fewer cells take all current."""

    kind: Literal["link_open"]
    behind_cell: BehindCell
    rail: WhichRail = "plus"

    def strike(self, rig: Rig) -> None:
        rig.change(lambda: rig.plant.bank.set_link(self.rail, self.behind_cell, OPEN_OHM))

    def heal(self, rig: Rig) -> None:
        rig.change(lambda: rig.plant.bank.set_link(self.rail, self.behind_cell))


class LinkPoor(FaultSettings):
    """A joint of the bars is loose or dirty: it has so much resistance."""

    kind: Literal["link_poor"]
    behind_cell: BehindCell
    microohms: Annotated[float, Field(gt=0, le=1e7)]
    rail: WhichRail = "plus"

    def strike(self, rig: Rig) -> None:
        ohm = self.microohms / 1e6
        rig.change(lambda: rig.plant.bank.set_link(self.rail, self.behind_cell, ohm))

    def heal(self, rig: Rig) -> None:
        rig.change(lambda: rig.plant.bank.set_link(self.rail, self.behind_cell))


class CellShorted(FaultSettings):
    """Within a cell something conducts from plus to minus: it drains itself and its neighbours."""

    kind: Literal["cell_shorted"]
    cell: CellNumber
    milliohms: Annotated[float, Field(ge=0.1, le=1e6)]

    def strike(self, rig: Rig) -> None:
        rig.change(lambda: rig.plant.bank.set_leak(self.cell, self.milliohms / 1000))

    def heal(self, rig: Rig) -> None:
        rig.change(lambda: rig.plant.bank.set_leak(self.cell))


class CellDead(FaultSettings):
    """A cell's inner connection is broken: it takes and gives nothing."""

    kind: Literal["cell_dead"]
    cell: CellNumber

    def strike(self, rig: Rig) -> None:
        rig.change(lambda: rig.plant.bank.set_dead(self.cell, True))

    def heal(self, rig: Rig) -> None:
        rig.change(lambda: rig.plant.bank.set_dead(self.cell, False))
