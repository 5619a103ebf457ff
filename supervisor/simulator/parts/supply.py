"""Settings of the simulated supply."""

from typing import Annotated

from pydantic import Field

from supervisor.settings.base import Settings

SomeMilliohms = Annotated[float, Field(gt=0, le=1000)]


class SupplySettings(Settings):
    """The unregulated supply: transformers, rectifier, capacitor."""

    open_circuit_volts: Annotated[float, Field(gt=0, le=60)] = Field(
        default=5.0, description="Mean volts without load, knob fully up."
    )
    source_milliohms: SomeMilliohms = Field(
        default=15, description="Droop, contactor, shunt and leads included."
    )
    ripple_percent: Annotated[float, Field(ge=0, le=100)] = Field(
        default=60, description="Amplitude of the current's ripple at twice mains, of its mean."
    )
    mains_hertz: Annotated[float, Field(ge=40, le=70)] = 50
    knob: Annotated[float, Field(ge=0, le=1)] = Field(
        default=0.0, description="Position at the start, 0 down to 1 fully up."
    )
