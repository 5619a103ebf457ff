"""Settings of the protection rules, one class a rule."""

from typing import Annotated

from pydantic import Field

from supervisor.settings.base import Amperes, Delay, LongDelay, Seconds, Settings, Volts

Count = Annotated[int, Field(ge=1, le=50)]

CONFIRM = "So many of the newest windows must lie beyond the limit: one bad reading trips nothing."
OF = "The newest windows that `confirm` counts in: one good reading clears nothing either."


class Overvoltage(Settings):
    """Mean of the mains window above the limit, on any cell: the main cutoff (function 59)."""

    trip_volts: Volts = Field(
        description="Trips when the mean of a cell over one window is above this; too high a "
        "voltage ruins the cell."
    )
    delay_seconds: Delay = Field(
        default=1.0,
        description="The voltage must stay beyond the limit for so long; it can rise meanwhile.",
    )
    confirm: Count = Field(default=3, description=CONFIRM)
    of: Count = Field(default=4, description=OF)


class OvervoltageHighSet(Settings):
    """Single conversions above a higher limit, at once (function 59, high set)."""

    trip_volts: Volts = Field(
        description="Trips when single conversions of a cell are above this, without any delay."
    )
    confirm: Count = Field(
        default=2,
        description="So many of the newest conversions must lie beyond the limit.",
    )
    of: Count = Field(default=3, description="The newest conversions that `confirm` counts in.")


class Undervoltage(Settings):
    """A cell below what a live cell shows: dead cell or sense fault (function 27)."""

    trip_volts: Volts = Field(
        description="Trips when the mean of a cell over one window is below this: such a cell "
        "must not be charged, or its sense lead is off."
    )
    delay_seconds: Delay = Field(
        default=2.0, description="The voltage must stay below the limit for so long."
    )
    confirm: Count = Field(default=3, description=CONFIRM)
    of: Count = Field(default=4, description=OF)


class Overcurrent(Settings):
    """Mean current above what the supply, shunt or leads bear, definite time (function 76)."""

    trip_amperes: Amperes = Field(
        description="Trips when the mean current over one window is above this; supply, shunt and "
        "leads overheat beyond what they bear."
    )
    delay_seconds: LongDelay = Field(
        default=3.0, description="The current must stay beyond the limit for so long."
    )
    confirm: Count = Field(default=4, description=CONFIRM)
    of: Count = Field(default=5, description=OF)


class ReverseCurrent(Settings):
    """Current out of the bank into the supply (function 32)."""

    trip_amperes: Amperes = Field(
        description="Trips when more than this flows backwards: a failed rectifier is a short "
        "circuit across the bank. Written without a sign."
    )
    delay_seconds: Delay = Field(
        default=1.0, description="The current must flow backwards for so long."
    )
    confirm: Count = Field(default=4, description=CONFIRM)
    of: Count = Field(default=5, description=OF)


class RateOfRise(Settings):
    """Voltage rising too fast near the end of charge (function 7)."""

    trip_volts_per_minute: Annotated[float, Field(gt=0, le=10)] = Field(
        description="Trips when the least-squares slope of a cell is above this: the voltage that "
        "sat flat for a day runs away within minutes at the end."
    )
    above_volts: Volts = Field(
        description="The slope counts only while the cell is above this voltage; below, a fast "
        "rise is the ordinary start of a charge."
    )
    over_seconds: Annotated[float, Field(ge=2, le=120)] = Field(
        default=10,
        description="Stretch of readings the slope is taken over: longer is calmer and later.",
    )
    delay_seconds: Delay = Field(
        default=2.0, description="The slope must stay beyond the limit for so long."
    )
    look_ahead_seconds: Annotated[float, Field(gt=0, le=60)] = Field(
        default=3.0,
        description="Trips at once when, at this slope, never_above_volts is closer than this.",
    )


class Sensing(Settings):
    """Readings that cannot be true: out of range, clipped, frozen, wrong read-back."""

    trip_after_seconds: Annotated[float, Field(gt=0, le=5)] = Field(
        default=0.2,
        description="Trips when a channel has given no believable value for so long: who cannot "
        "see must not charge.",
    )


class Stale(Settings):
    """No fresh reading."""

    trip_after_seconds: Annotated[float, Field(gt=0, le=5)] = Field(
        default=0.2,
        description="Trips when the newest reading of a channel is older than this: who cannot "
        "see must not charge.",
    )


class FailedToOpen(Settings):
    """Current or auxiliary contact says closed although the coil was dropped (86 with BF)."""

    current_amperes: Amperes = Field(
        description="More than this, in or out, after opening means that it did not open."
    )
    within_seconds: Annotated[float, Field(gt=0, le=5)] = Field(
        default=0.5, description="Time allowed from dropping the coil to no current."
    )


class LoopOverrun(Settings):
    """The loop itself is late."""

    trip_late_seconds: Annotated[float, Field(gt=0, le=2)] = Field(
        default=0.2,
        description="Trips when one cycle begins so late: nobody watched in the meantime.",
    )
    trip_misses: Annotated[int, Field(ge=1, le=10000)] = Field(
        default=15,
        description="Trips when so many cycles missed their deadline within in_seconds.",
    )
    in_seconds: Seconds = Field(
        default=10.0, description="The time that trip_misses is counted over."
    )


class Protection(Settings):
    """The rules in force. Every rule of this list is always on."""

    overvoltage: Overvoltage
    overvoltage_high_set: OvervoltageHighSet
    overcurrent: Overcurrent
    rate_of_rise: RateOfRise
    undervoltage: Undervoltage
    reverse_current: ReverseCurrent
    sensing: Sensing = Sensing()
    stale: Stale = Stale()
    failed_to_open: FailedToOpen
    loop_overrun: LoopOverrun = LoopOverrun()
