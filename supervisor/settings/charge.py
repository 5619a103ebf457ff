"""The charge as it should go: its stages, its end, the rest after it."""

from typing import Annotated

from pydantic import Field

from supervisor.settings.base import Amperes, Settings, Volts

Minutes = Annotated[float, Field(ge=1, le=1440)]
Spread = Annotated[float, Field(ge=0.001, le=0.1)]


class Full(Settings):
    """When the bank is full: all of it for so long, then the circuit opens and is `finished`."""

    end_amperes: Amperes = Field(
        description="In the hold, the current must stay below this, measuring error included: what "
        "a bank takes that is full."
    )
    minutes: Minutes = Field(
        default=30, description="So long without a break; a few seconds beside it do not count."
    )
    spread_volts: Spread = Field(
        default=0.01,
        description="Front minus far cell, the expected drop taken out, at the most: all of the "
        "bank has arrived.",
    )
    least_percent: Annotated[float, Field(ge=0, le=100)] = Field(
        default=0,
        description="The session must have charged so much of the bank's rating: less is no full "
        "charge of cells that came as empty as you know they were.",
    )


class Rest(Settings):
    """After a full charge, with the circuit open: what the voltage must show."""

    minutes: Minutes = Field(default=60, description="The rest is watched for so long.")
    lowest_volts: Volts = Field(
        default=3.33, description="At its end no cell rests below this: lower is not full."
    )
    highest_volts: Volts = Field(
        default=3.55,
        description="... and none above this: it has not come to rest, or something still charges "
        "it. After an hour open most full cells stand at 3.33 to 3.45.",
    )
    spread_volts: Spread = Field(
        default=0.01, description="Front and far cell differ by no more than this."
    )
    fall_millivolts_per_hour: Annotated[float, Field(gt=0, le=500)] = Field(
        default=30,
        description="At its end no cell falls faster: faster is one that discharges itself.",
    )


class PulsedHold(Settings):
    """Off unless written: in the hold the circuit opens above a voltage, and closes again below.

    The only closing that nobody asks for. Every rule stays in force, and a trip ends it for good.
    """

    open_above_volts: Volts = Field(
        description="Opens when a cell is above this: within the hold, below every limit."
    )
    close_below_volts: Volts = Field(
        description="May close again when the highest cell has fallen below this."
    )
    least_rest_seconds: Annotated[float, Field(ge=10, le=3600)] = Field(
        default=60, description="Stays open for so long at least."
    )
    most_rest_minutes: Minutes = Field(
        default=120,
        description="Not fallen so far after so long: the bank takes nothing more, and it ends.",
    )
    most_pulses: Annotated[int, Field(ge=1, le=1000)] = Field(
        default=50,
        description="Closes again so often at the most, in one session: a closing by hand gives no "
        "new allowance.",
    )
    most_per_hour: Annotated[int, Field(ge=1, le=60)] = Field(
        default=12, description="... and so often within an hour."
    )
    most_hours: Annotated[float, Field(gt=0, le=100)] = Field(
        default=8, description="Ends so long after the first opening of its own."
    )


class Charge(Settings):
    """What the charge is to be, for stage, forecast and cues. Left out: none of these."""

    target_amperes: Amperes = Field(
        description="The current that you want while the voltage is flat: the supply bears it."
    )
    taper_above_volts: Volts = Field(
        default=3.42, description="A cell above this has left the flat part: the end is near."
    )
    hold_volts: Volts = Field(
        description="The voltage to hold at the most, below overvoltage.trip_volts."
    )
    band_volts: Annotated[float, Field(ge=0.005, le=0.15)] = Field(
        default=0.03, description="From so far below hold_volts on it is the hold."
    )
    bench_supply_amperes: Amperes | None = Field(
        default=None,
        description="What a small regulated supply of yours gives, less than the target; told when "
        "the hold takes less, unless this supply is regulated itself.",
    )
    regulated: bool = Field(
        default=False,
        description="The supply holds its voltage by itself: nobody turns a knob down in the hold.",
    )
    full: Full | None = Field(
        default=None, description="When it is full. Left out: it never opens by itself for that."
    )
    rest: Rest = Rest()
    pulsed_hold: PulsedHold | None = Field(
        default=None, description="Opens and closes by itself in the hold. Left out: never."
    )

    @property
    def hold_from_v(self) -> float:
        """Where the hold begins."""
        return self.hold_volts - self.band_volts
