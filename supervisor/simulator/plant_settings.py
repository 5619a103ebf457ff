"""Settings of the simulated plant: cells, bars, supply, switches, converters."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from supervisor.settings.base import Settings

Milliohms = Annotated[float, Field(ge=0, le=1000)]
SomeMilliohms = Annotated[float, Field(gt=0, le=1000)]
SwitchMilliseconds = Annotated[float, Field(gt=0, le=5000)]


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


class SwitchSettings(Settings):
    """What contactor and mains relay really do, whatever the settings file claims."""

    pull_in_milliseconds: SwitchMilliseconds = 25
    release_milliseconds: SwitchMilliseconds = 12
    mains_pull_in_milliseconds: SwitchMilliseconds = 15
    mains_release_milliseconds: SwitchMilliseconds = 10


class ConverterSettings(Settings):
    """How every converter chip differs from the ideal one, and the filter before it."""

    clock_error_percent: Annotated[float, Field(ge=-10, le=10)] = Field(
        default=0.0, description="Conversions take longer (+) or shorter (-) by this."
    )
    gain_error_percent: Annotated[float, Field(ge=-1, le=1)] = 0.0
    offset_lsb: Annotated[float, Field(ge=-10, le=10)] = 0.0
    noise_factor: Annotated[float, Field(ge=0, le=10)] = 1.0
    filter_hertz: Annotated[float, Field(gt=0, le=1e5)] = Field(
        default=7.0, description="Corner of the first-order filter at every input."
    )


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


class PlantSettings(Settings):
    """Everything the simulator needs beyond the supervisor's own settings."""

    cells: CellsSettings = CellsSettings()
    supply: SupplySettings = SupplySettings()
    switches: SwitchSettings = SwitchSettings()
    converters: ConverterSettings = ConverterSettings()
    thermal: ThermalSettings = ThermalSettings()
    outputs_of_a_dead_owner: Literal["keep_level", "drop"] = Field(
        default="keep_level",
        description="What the kernel does with output pins when the process is killed.",
    )
