"""Settings of the simulated sense leads and converters."""

from typing import Annotated

from pydantic import Field

from supervisor.settings.base import Settings


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
