"""Settings of the warmth of the simulated parts."""

from typing import Annotated

from pydantic import Field

from supervisor.settings.base import Settings


class WarmingSettings(Settings):
    """A part that the current warms, with its square."""

    kelvin_at_100_amperes: Annotated[float, Field(ge=0, le=500)] = Field(
        description="Above ambient, in the end."
    )
    time_constant_seconds: Annotated[float, Field(ge=1, le=1e5)]


class ThermalSettings(Settings):
    """How warm it is, and how warm the parts become."""

    ambient_celsius: Annotated[float, Field(ge=-50, le=60)] = 18
    heat_sink: WarmingSettings = WarmingSettings(
        kelvin_at_100_amperes=35, time_constant_seconds=300
    )
    transformer: WarmingSettings = WarmingSettings(
        kelvin_at_100_amperes=30, time_constant_seconds=2400
    )
    cells: WarmingSettings = WarmingSettings(kelvin_at_100_amperes=3, time_constant_seconds=7200)
