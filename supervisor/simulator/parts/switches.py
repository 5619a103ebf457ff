"""Settings of the simulated contactor and mains relay."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from supervisor.settings.base import Settings

SwitchMilliseconds = Annotated[float, Field(gt=0, le=5000)]
CoilVolts = Annotated[float, Field(gt=0, le=250)]
CoilAmperes = Annotated[float, Field(gt=0, le=20)]
DIODE_V = 0.7


class CoilSettings(Settings):
    """The contactor's coil and what is across it."""

    rated_volts: CoilVolts = 12
    supply_volts: CoilVolts = Field(default=12, description="What it really gets.")
    ohms: Annotated[float, Field(gt=0, le=10_000)] = 50
    millihenries: Annotated[float, Field(ge=0, le=100_000)] = 500
    pull_in_amperes: CoilAmperes = Field(default=0.168, description="The armature starts to move.")
    hold_amperes: CoilAmperes = Field(default=0.072, description="Below it, it is let go.")
    suppression: Literal["diode", "clamp", "none"] = Field(
        default="clamp",
        description="A bare diode (slow), diode and Zener (fast), or nothing: gone at once.",
    )
    clamp_volts: Annotated[float, Field(gt=0, le=1000)] = Field(
        default=24, description="What a clamp lets the coil drive its current against."
    )

    @model_validator(mode="after")
    def _works(self) -> Self:
        full_a = min(self.supply_volts, self.rated_volts) / self.ohms
        if not self.hold_amperes <= self.pull_in_amperes < full_a:
            raise ValueError(
                f"hold_amperes {self.hold_amperes:g} <= pull_in_amperes {self.pull_in_amperes:g} < "
                f"{full_a:g} A (the lower volts / ohms) does not hold: this coil never pulls in or "
                "never lets go; change one of them"
            )
        return self

    @property
    def against_v(self) -> float | None:
        """What the current runs against once switched off; None: it has nowhere to go."""
        if self.suppression == "none":
            return None
        return DIODE_V if self.suppression == "diode" else self.clamp_volts


class TransformerSettings(Settings):
    """What the mains relay makes onto."""

    mains_volts: Annotated[float, Field(gt=0, le=500)] = 230
    winding_ohms: Annotated[float, Field(gt=0, le=100)] = Field(
        default=0.8, description="With that of the mains."
    )
    air_core_millihenries: Annotated[float, Field(gt=0, le=1000)] = 8
    remanence: Annotated[float, Field(ge=-0.9, le=0.9)] = Field(
        default=0.6, description="Flux left in the core, in units of its usual peak."
    )
    knee: Annotated[float, Field(ge=1, le=2)] = Field(
        default=1.3, description="Where the core saturates, in the same units."
    )


class SwitchSettings(Settings):
    """What contactor and mains relay really do, whatever the settings file claims."""

    coil: CoilSettings = CoilSettings()
    pull_in_milliseconds: SwitchMilliseconds = Field(
        default=25, description="On the contactor's data sheet: at the coil's rated_volts."
    )
    release_milliseconds: SwitchMilliseconds = Field(
        default=9.3, description="On it: without suppression, which makes it longer."
    )
    bounces: Annotated[int, Field(ge=0, le=20)] = Field(
        default=2, description="So often the main contact parts again after its first touch."
    )
    bounce_milliseconds: Annotated[float, Field(gt=0, le=100)] = Field(
        default=0.5, description="The first lasts so long, each other half of the one before."
    )
    auxiliary_lag_milliseconds: Annotated[float, Field(ge=0, le=1000)] = Field(
        default=2, description="The auxiliary contact changes so much after the main one."
    )
    mains_pull_in_milliseconds: SwitchMilliseconds = 15
    mains_release_milliseconds: SwitchMilliseconds = 10
    mains_making_amperes: Annotated[float, Field(gt=0, le=1e6)] = Field(
        default=1000, description="Making onto more than this at the peak welds the mains relay."
    )
    transformer: TransformerSettings = TransformerSettings()
