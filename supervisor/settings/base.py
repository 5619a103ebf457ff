"""What all settings share: frozen, strict, no unknown keys."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field


class Settings(BaseModel):
    """Base of every settings block. Instances never change; a new file makes new ones."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


Volts = Annotated[float, Field(gt=0, le=6.144)]
Amperes = Annotated[float, Field(gt=0, le=5000)]
Seconds = Annotated[float, Field(gt=0, le=86400)]
Delay = Annotated[float, Field(ge=0, le=3600)]
Milliseconds = Annotated[float, Field(gt=0, le=60000)]
PinNumber = Annotated[int, Field(ge=0, le=27)]
