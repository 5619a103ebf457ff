"""Settings of the protection rules, one class a rule."""

from typing import Annotated

from pydantic import Field

from supervisor.settings.base import Amperes, Delay, Seconds, Settings, Volts

Count = Annotated[int, Field(ge=1, le=50)]


class Overvoltage(Settings):
    """Mean of the mains window above the limit, on any cell (function 59)."""

    trip_volts: Volts = Field(description="Trips when the 100 ms mean of a cell is above this.")
    delay_seconds: Delay = Field(default=1.0, description="... for at least so long,")
    confirm: Count = Field(default=3, description="... in so many windows")
    of: Count = Field(default=4, description="... out of so many.")


class OvervoltageHighSet(Settings):
    """Single conversions above a higher limit, at once (function 59, high set)."""

    trip_volts: Volts = Field(description="Trips when conversions of a cell are above this,")
    confirm: Count = Field(default=2, description="... so many")
    of: Count = Field(default=3, description="... out of so many.")


class Undervoltage(Settings):
    """A cell below what a live cell shows: dead cell or sense fault (function 27)."""

    trip_volts: Volts = Field(description="Trips when the 100 ms mean of a cell is below this.")
    delay_seconds: Delay = Field(default=2.0, description="... for at least so long,")
    confirm: Count = Field(default=3, description="... in so many windows")
    of: Count = Field(default=4, description="... out of so many.")


class Overcurrent(Settings):
    """Mean current above what the supply, shunt or leads bear, definite time (function 76)."""

    trip_amperes: Amperes = Field(description="Trips when the 100 ms mean current is above this.")
    delay_seconds: Delay = Field(default=3.0, description="... for at least so long,")
    confirm: Count = Field(default=4, description="... in so many windows")
    of: Count = Field(default=5, description="... out of so many.")


class ReverseCurrent(Settings):
    """Current out of the bank into the supply (function 32)."""

    trip_amperes: Amperes = Field(description="Trips when more than this flows backwards.")
    delay_seconds: Delay = Field(default=1.0, description="... for at least so long,")
    confirm: Count = Field(default=4, description="... in so many windows")
    of: Count = Field(default=5, description="... out of so many.")


class RateOfRise(Settings):
    """Voltage rising too fast near the end of charge (function 7)."""

    trip_volts_per_minute: Annotated[float, Field(gt=0, le=10)] = Field(
        description="Trips when the least-squares slope of a cell is above this,"
    )
    above_volts: Volts = Field(description="... while the cell is above this voltage,")
    over_seconds: Annotated[float, Field(ge=2, le=120)] = Field(
        default=10, description="... the slope taken over so long a stretch,"
    )
    delay_seconds: Delay = Field(default=2.0, description="... for at least so long.")
    look_ahead_seconds: Annotated[float, Field(gt=0, le=60)] = Field(
        default=3.0,
        description="Trips at once when, at this slope, never_above_volts is closer than this.",
    )


class Sensing(Settings):
    """Readings that cannot be true: out of range, clipped, frozen, wrong read-back."""

    trip_after_seconds: Annotated[float, Field(gt=0, le=5)] = Field(
        default=0.3, description="Trips when a channel has given no believable value for so long."
    )


class Stale(Settings):
    """No fresh reading."""

    trip_after_seconds: Annotated[float, Field(gt=0, le=5)] = Field(
        default=0.3, description="Trips when the newest reading of a channel is older than this."
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
        default=0.2, description="Trips when one cycle begins later than this."
    )
    trip_misses: Annotated[int, Field(ge=1, le=10000)] = Field(
        default=50, description="Trips when so many deadlines were missed"
    )
    in_seconds: Seconds = Field(default=10.0, description="... within so long.")


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
