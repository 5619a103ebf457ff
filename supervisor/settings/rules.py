"""Settings of the protection rules, one class a rule."""

from typing import Annotated, Literal

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


class OvercurrentInverse(Settings):
    """Mean current above a limit: the more, the sooner (inverse-time curve of a relay)."""

    trip_amperes: Amperes = Field(
        description="Pick-up of the curve: what lies above it adds up, the more the faster; what "
        "the supply bears for long lies below."
    )
    curve: Literal[
        "iec_standard_inverse",
        "iec_very_inverse",
        "iec_extremely_inverse",
        "iec_long_time_inverse",
        "ieee_moderately_inverse",
        "ieee_very_inverse",
        "ieee_extremely_inverse",
    ] = Field(
        default="iec_very_inverse",
        description="Shape, after IEC 60255-151 or IEEE C37.112. Extremely inverse follows heat.",
    )
    time_multiplier: Annotated[float, Field(gt=0, le=100)] = Field(
        default=1.0,
        description="Stretches the curve: the time multiplier of IEC, the time dial of IEEE.",
    )
    reset_seconds: Annotated[float, Field(ge=0, le=3600)] = Field(
        default=60,
        description="IEC curves: back below the limit, what has added up is kept for so long. IEEE "
        "curves forget by a curve of their own.",
    )


class HeatedPart(Settings):
    """A part that heats up with the square of the current and cools by itself."""

    continuous_amperes: Amperes = Field(
        description="Effective (rms) current it bears for ever, from its data sheet and cooling."
    )
    time_constant_seconds: Annotated[float, Field(ge=10, le=36000)] = Field(
        description="After so long with a constant current it has come 63 % of the way to its "
        "final temperature."
    )


class SupplyThermal(Settings):
    """Heat of the supply's parts, reckoned from the current (function 49)."""

    form_factor: Annotated[float, Field(ge=1, le=3)] = Field(
        default=1.2,
        description="Effective (rms) to mean value of the rectified current: heat follows the "
        "effective one, the shunt shows the mean.",
    )
    warn_percent: Annotated[float, Field(ge=10, lt=100)] = Field(
        default=90, description="Warns from so much of the heat that trips; closing waits below it."
    )
    rectifier: HeatedPart = Field(description="The rectifier with its heat sink: it fails first.")
    transformer: HeatedPart | None = Field(
        default=None, description="The step-down transformer: heavy, slow to heat and to cool."
    )


# Well within what probes can show: 125 is the end of their range.
PartCelsius = Annotated[float, Field(ge=30, le=115)]
CellCelsius = Annotated[float, Field(ge=-20, le=70)]


class Temperature(Settings):
    """A probe above or below what its part bears (function 26)."""

    heat_sink_above_celsius: PartCelsius | None = Field(
        default=None, description="Trips when a probe on a heat sink reads more."
    )
    transformer_above_celsius: PartCelsius | None = Field(
        default=None, description="Trips when a probe on the transformer reads more."
    )
    cells_above_celsius: CellCelsius | None = Field(
        default=None, description="Trips when a probe on a cell reads more: the maker's limit."
    )
    cells_below_celsius: CellCelsius | None = Field(
        default=None,
        description="Trips when a probe on a cell reads less: charging near freezing plates "
        "lithium and ruins the cell.",
    )
    delay_seconds: Delay = Field(
        default=5.0, description="The temperature must stay beyond its limit for so long."
    )
    lost_after_seconds: Annotated[float, Field(ge=5, le=60)] = Field(
        default=15, description="A probe without a good answer for so long cannot tell any more."
    )


class Balance(Settings):
    """Front and far cell differ by more than the current explains (function 60)."""

    trip_volts: Annotated[float, Field(gt=0, le=0.3)] = Field(
        description="Trips when front minus far cell, the expected drop taken out, is more than "
        "this in either direction: a bad lead, or a link that opened."
    )
    bars_microohms: Annotated[float, Field(ge=0, le=10000)] = Field(
        description="Expected drop from front to far cell: volts per ampere of charging current, "
        "in the flat part of the charge."
    )
    delay_seconds: Delay = Field(
        default=5.0, description="The difference must stay beyond the limit for so long."
    )
    confirm: Count = Field(default=3, description=CONFIRM)
    of: Count = Field(default=4, description=OF)


class TaperLimits(Settings):
    """Tighter limits while the voltage climbs out of its flat part."""

    trip_amperes: Amperes = Field(description="Trips when the mean current is above this.")


class HoldLimits(Settings):
    """Tighter limits while the voltage is held: what stands guard over it when nobody does."""

    trip_amperes: Amperes | None = Field(
        default=None, description="Trips when the mean current is above this."
    )
    trip_volts: Volts | None = Field(
        default=None, description="Trips when the mean of a cell is above this."
    )


class StageLimits(Settings):
    """Limits that count in one stage of the charge only, tighter than those that always do."""

    taper: TaperLimits | None = Field(default=None, description="In the taper, and in the hold.")
    hold: HoldLimits | None = Field(default=None, description="In the hold.")
    delay_seconds: LongDelay = Field(
        default=5.0, description="The value must stay beyond its limit for so long."
    )
    confirm: Count = Field(default=4, description=CONFIRM)
    of: Count = Field(default=5, description=OF)


class SessionTime(Settings):
    """Closed for longer than any charge takes."""

    trip_hours: Annotated[float, Field(gt=0, le=500)] = Field(
        description="Trips when the contactor was closed for so long in one session: an end that "
        "never comes is a cell that leaks, or a reading that is wrong."
    )


class SessionCharge(Settings):
    """More charge than fits into the bank."""

    trip_ampere_hours: Annotated[float, Field(gt=0, le=1_000_000)] = Field(
        description="Trips when so much was charged in one session: not more than the bank's "
        "rating, or nobody looks at the voltage rightly."
    )


class SessionHold(Settings):
    """Held near the limit for longer than the last cells take."""

    above_volts: Volts = Field(description="A cell above this voltage is in the hold.")
    trip_hours: Annotated[float, Field(gt=0, le=1000)] = Field(
        description="Trips when the hold of one session has lasted so long: a tiny current held up "
        "to the limit overcharges the bank."
    )


class KnobSpeed(Settings):
    """The knob turned up too fast (function 7)."""

    trip_amperes_per_second: Annotated[float, Field(gt=0, le=5000)] = Field(
        description="Trips when the current rises faster: the voltage follows before anybody can "
        "look up."
    )
    trip_volts_per_second: Annotated[float, Field(gt=0, le=1)] = Field(
        description="Trips when a cell rises faster, at any voltage."
    )
    over_seconds: Annotated[float, Field(ge=0.5, le=30)] = Field(
        default=2.0, description="Stretch of readings the slope is taken over."
    )


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
    zero_amperes: Amperes = Field(
        default=1.0,
        description="With the contactor open the shunt must read less than this: more is an offset "
        "that would falsify every limit.",
    )
    step_amperes: Annotated[float, Field(ge=1, le=5000)] = Field(
        default=20,
        description="A change of the current by so much is a step that the voltage must answer.",
    )
    least_answer_microohms: Annotated[float, Field(ge=0.1, le=10000)] = Field(
        default=2.0,
        description="Volts per ampere that the front cell answers a step with at the least: a part "
        "of the bank's resistance. A voltage that does not answer is not this bank's.",
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


class FailedToClose(Settings):
    """Told to close, and the auxiliary contact says open. Needs `contactor.auxiliary`."""

    within_seconds: Annotated[float, Field(gt=0, le=5)] = Field(
        default=0.5,
        description="Trips when it says so for so long, pull-in included, or again and again.",
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
