"""What all settings share: frozen, strict, no unknown keys."""

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field
from pydantic_core import CoreSchema, core_schema


class Settings(BaseModel):
    """Base of every settings block. Instances never change; a new file makes new ones."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


@dataclass(frozen=True, slots=True)
class OneOf:
    """Only these numbers: a Literal for floats, which the type system does not have."""

    values: tuple[float, ...]

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        return core_schema.literal_schema(list(self.values))


Volts = Annotated[float, Field(gt=0, le=6.144)]
Amperes = Annotated[float, Field(gt=0, le=5000)]
Seconds = Annotated[float, Field(gt=0, le=86400)]
Delay = Annotated[float, Field(ge=0, le=60)]
LongDelay = Annotated[float, Field(ge=0, le=600)]
Milliseconds = Annotated[float, Field(gt=0, le=60000)]
# A contactor takes longer; less is a time in seconds, written as milliseconds.
ReleaseMilliseconds = Annotated[float, Field(ge=2, le=5000)]
PinNumber = Annotated[int, Field(ge=0, le=27)]
