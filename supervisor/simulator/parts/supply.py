"""Settings of the simulated supplies."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from supervisor.settings.base import Settings

SomeMilliohms = Annotated[float, Field(gt=0, le=1000)]
MainsHertz = Annotated[float, Field(ge=40, le=70)]
Knob = Annotated[float, Field(ge=0, le=1)]


class SupplySettings(Settings):
    """The unregulated supply: variable autotransformer, transformer, two diodes, capacitor.

    The secondary has a tap in its centre: each half works for half a period.
    """

    kind: Literal["rectifier"] = "rectifier"
    mains_volts: Annotated[float, Field(gt=0, le=500)] = Field(
        default=230, description="Effective value; a fault may make it sag."
    )
    mains_hertz: MainsHertz = 50
    knob: Knob = Field(default=0.0, description="Position at the start, 0 down to 1 fully up.")
    turns_ratio: Annotated[float, Field(ge=1, le=1000)] = Field(
        default=45, description="Volts behind the knob to volts of half the secondary."
    )
    winding_milliohms: SomeMilliohms = Field(
        default=4, description="Of each half, the primary's share included."
    )
    leakage_microhenries: Annotated[float, Field(ge=0, le=1000)] = Field(
        default=20, description="Leakage inductance of each half."
    )
    diode_saturation_amperes: Annotated[float, Field(ge=1e-14, le=1e-3)] = Field(
        default=1e-8, description="IS of each diode's exponential."
    )
    diode_ideality: Annotated[float, Field(ge=1, le=3)] = Field(
        default=1.8, description="N of each diode's exponential."
    )
    diode_milliohms: Annotated[float, Field(ge=0, le=100)] = Field(
        default=0.5, description="RS of each diode, in series with its exponential."
    )
    capacitor_farads: Annotated[float, Field(ge=1e-4, le=50)] = 1.0
    output_milliohms: SomeMilliohms = Field(
        default=4, description="From the capacitor to the bank: leads, shunt, contactor, joints."
    )
    iron_watts: Annotated[float, Field(ge=0, le=1000)] = Field(
        default=8, description="Lost in the transformer's core with the knob fully up."
    )


class BenchSupplySettings(Settings):
    """A regulated supply: constant current, then constant voltage. Its knob sets the voltage."""

    kind: Literal["bench"] = "bench"
    limit_volts: Annotated[float, Field(gt=0, le=60)] = Field(
        default=3.55, description="With the knob fully up."
    )
    limit_amperes: Annotated[float, Field(gt=0, le=1000)] = 10
    lead_milliohms: SomeMilliohms = Field(default=10, description="Both leads, joints included.")
    mains_hertz: MainsHertz = 50
    knob: Knob = Field(default=0.0, description="Position at the start, 0 down to 1 fully up.")


def _usual_kind(value: Any) -> Any:
    """Without a word of its kind it is the unregulated one."""
    return {"kind": "rectifier", **value} if isinstance(value, dict) else value


AnySupplySettings = Annotated[
    SupplySettings | BenchSupplySettings,
    Field(discriminator="kind"),
    BeforeValidator(_usual_kind),
]
