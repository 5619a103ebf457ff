"""Settings of the simulated sense leads and converters."""

from typing import Annotated

from pydantic import Field

from supervisor.settings.base import Settings


class LeadSettings(Settings):
    """Every sense lead, up to its converter."""

    ohms: Annotated[float, Field(ge=0, le=1e6)] = Field(
        default=0.5, description="Of both wires, with their joints and fuse."
    )
    bleed_kilohms: Annotated[float, Field(ge=1, le=1e6)] = Field(
        default=1000, description="Resistor at the input that shows a lead that came off."
    )
    common_mode_volts: Annotated[float, Field(ge=-5, le=5)] = Field(
        default=0.5, description="Of both wires against the converter's ground."
    )
    rejection_decibels: Annotated[float, Field(ge=20, le=200)] = Field(
        default=105, description="How much less the converter sees of it."
    )

    @property
    def stray_v(self) -> float:
        return self.common_mode_volts / 10 ** (self.rejection_decibels / 20)


class ShuntSettings(Settings):
    """What the shunt's resistance does when it gets warm."""

    ppm_per_kelvin: Annotated[float, Field(ge=-10_000, le=10_000)] = Field(
        default=15, description="Temperature coefficient; that of manganin by default."
    )
    kelvin_per_watt: Annotated[float, Field(ge=0, le=100)] = 4
    time_constant_seconds: Annotated[float, Field(ge=1, le=100_000)] = 120


class ConverterSettings(Settings):
    """How every converter chip differs from the ideal one, and what is before its inputs."""

    clock_error_percent: Annotated[float, Field(ge=-10, le=10)] = Field(
        default=0.0, description="Conversions take longer (+) or shorter (-) by this."
    )
    gain_error_percent: Annotated[float, Field(ge=-1, le=1)] = 0.0
    offset_lsb: Annotated[float, Field(ge=-10, le=10)] = 0.0
    noise_factor: Annotated[float, Field(ge=0, le=10)] = 1.0
    filter_hertz: Annotated[float, Field(gt=0, le=1e5)] = Field(
        default=7.0, description="Corner of the first-order filter at every input."
    )
    leads: LeadSettings = LeadSettings()
    shunt: ShuntSettings = ShuntSettings()
