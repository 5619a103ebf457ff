"""Settings of the simulated cells and bars."""

from typing import Annotated

from pydantic import Field, field_validator

from supervisor.settings.base import Settings
from supervisor.simulator.chemistry import load_chemistry
from supervisor.simulator.ladder import Feed

Milliohms = Annotated[float, Field(ge=0, le=1000)]
SomeMilliohms = Annotated[float, Field(gt=0, le=1000)]
TimeConstant = Annotated[float, Field(gt=0, le=1e6)]
SpreadPercent = Annotated[float, Field(ge=0, le=25)]


class CellsSettings(Settings):
    """The cells side by side, from the feed (front) to the far end, and the bars that join them.

    How many they are and how large says ``bank`` in the supervisor's settings.
    """

    chemistry: str = Field(
        default="bpx-lfp", description="A name in config/chemistries/, or the path of such a file."
    )
    state_of_charge: Annotated[float, Field(ge=0, le=1.05)] = Field(
        default=0.5, description="At the start, 0 empty to 1 full."
    )
    state_of_charge_spread: Annotated[float, Field(ge=0, le=0.2)] = Field(
        default=0, description="Of the cells, standard deviation; drawn from the run's seed."
    )
    state_of_charge_offsets: tuple[Annotated[float, Field(ge=-1, le=1)], ...] = Field(
        default=(), description="Added to it, cell by cell from the front; left out: 0."
    )
    capacity_spread_percent: SpreadPercent = Field(
        default=0, description="Of the cells, standard deviation; at most three times that."
    )
    capacity_factors: tuple[Annotated[float, Field(gt=0, le=2)], ...] = Field(
        default=(), description="Capacity to rating, cell by cell from the front; left out: 1."
    )
    resistance_milliohms: SomeMilliohms = Field(
        default=0.25, description="Ohmic resistance of one cell at 25 degrees, joints included."
    )
    resistance_spread_percent: SpreadPercent = Field(
        default=0, description="Of all resistances of the cells, standard deviation."
    )
    relaxation_milliohms: Milliohms = Field(
        default=0.15, description="Further resistance of one cell that builds up with time."
    )
    relaxation_seconds: TimeConstant = Field(default=60, description="Time constant of that.")
    diffusion_milliohms: Milliohms = Field(
        default=0.1, description="Further resistance of one cell that builds up slowly."
    )
    diffusion_seconds: TimeConstant = Field(default=1200, description="Time constant of that.")
    link_microohms: Annotated[float, Field(gt=0, le=1e6)] = Field(
        default=0.95, description="Of each rail, from one cell to the next."
    )
    feed: Feed = Field(
        default="one_end",
        description="Where the supply is connected: to the first cell, to the first and the last "
        "by leads of equal length, or plus to the first and minus to the last.",
    )
    feed_lead_milliohms: SomeMilliohms = Field(
        default=0.5, description="Of each lead of a feed at both ends."
    )

    @field_validator("chemistry")
    @classmethod
    def _chemistry_is_there(cls, name: str) -> str:
        load_chemistry(name)
        return name
