"""Settings of the simulated cells and bars."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from supervisor.settings.base import Settings

Milliohms = Annotated[float, Field(ge=0, le=1000)]
SomeMilliohms = Annotated[float, Field(gt=0, le=1000)]


class CellsSettings(Settings):
    """The cells, in groups along the bars from the feed (front) to the far end."""

    groups: Annotated[int, Field(ge=1, le=64)] = Field(
        default=4, description="Groups of equal numbers of cells; one voltage and current each."
    )
    state_of_charge: Annotated[float, Field(ge=0, le=1.1)] = Field(
        default=0.5, description="At the start, 0 empty to 1 full."
    )
    state_of_charge_offsets: tuple[Annotated[float, Field(ge=-1, le=1)], ...] = Field(
        default=(), description="Added to it, group by group from the front; left out: 0."
    )
    capacity_factors: tuple[Annotated[float, Field(gt=0, le=2)], ...] = Field(
        default=(), description="Capacity to rating, group by group from the front; left out: 1."
    )
    resistance_milliohms: SomeMilliohms = Field(
        default=0.25, description="Ohmic resistance of one cell, its joints included."
    )
    relaxation_milliohms: Milliohms = Field(
        default=0.15, description="Further resistance of one cell that builds up with time."
    )
    relaxation_seconds: Annotated[float, Field(gt=0, le=1e5)] = Field(
        default=60, description="Time constant of that."
    )
    link_milliohms: SomeMilliohms = Field(
        default=0.02, description="Both bars together, from one group to the next."
    )

    @model_validator(mode="after")
    def _no_values_for_missing_groups(self) -> Self:
        for name in ("state_of_charge_offsets", "capacity_factors"):
            if len(getattr(self, name)) > self.groups:
                raise ValueError(f"{name} has more values than there are groups")
        return self
