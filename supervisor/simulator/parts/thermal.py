"""Settings of the warmth of the simulated parts."""

from typing import Annotated

from pydantic import Field

from supervisor.settings.base import Settings

Kelvin = Annotated[float, Field(ge=0, le=500)]
TimeConstant = Annotated[float, Field(ge=1, le=1e5)]


class WarmedByLoss(Settings):
    """A part that is warmed by what the supply loses in it."""

    kelvin_per_watt: Kelvin = Field(description="Above ambient, in the end.")
    time_constant_seconds: TimeConstant


class WarmedByCurrent(Settings):
    """A part of constant resistance in the way of the charging current, its ripple included."""

    kelvin_at_100_amperes: Kelvin = Field(description="Effective; above ambient, in the end.")
    time_constant_seconds: TimeConstant


class ThermalSettings(Settings):
    """How warm it is, and how warm the parts become."""

    ambient_celsius: Annotated[float, Field(ge=-50, le=60)] = 18
    heat_sink: WarmedByLoss = WarmedByLoss(kelvin_per_watt=0.29, time_constant_seconds=300)
    transformer: WarmedByLoss = WarmedByLoss(kelvin_per_watt=0.36, time_constant_seconds=2400)
    cells: WarmedByCurrent = WarmedByCurrent(kelvin_at_100_amperes=3, time_constant_seconds=7200)
