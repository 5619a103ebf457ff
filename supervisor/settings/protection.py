"""Which rules are in force, and which a build does without, and why."""

from typing import Annotated

from pydantic import Field

from supervisor.settings.base import Settings
from supervisor.settings.rules import (
    Balance,
    FailedToClose,
    FailedToOpen,
    KnobSpeed,
    LoopOverrun,
    Overcurrent,
    OvercurrentInverse,
    Overvoltage,
    OvervoltageHighSet,
    RateOfRise,
    ReverseCurrent,
    Sensing,
    SessionCharge,
    SessionHold,
    SessionTime,
    StageLimits,
    Stale,
    SupplyThermal,
    Temperature,
    Undervoltage,
)

Why = Annotated[str, Field(min_length=8, max_length=200)]


class Without(Settings):
    """Rules the risk needs and this build does without, each with the reason why."""

    supply_thermal: Why | None = Field(
        default=None, description="Why nobody reckons how hot the supply is."
    )
    temperature: Why | None = Field(default=None, description="Why no probe watches the parts.")
    balance: Why | None = Field(
        default=None, description="Why nobody compares the front cell with the far cell."
    )
    session_time: Why | None = Field(
        default=None, description="Why a charge may go on without an end."
    )
    session_charge: Why | None = Field(
        default=None, description="Why any charge may go into the bank."
    )

    def reasons(self) -> dict[str, str]:
        """The rules that are missing on purpose, with the reasons."""
        return {name: why for name in Without.model_fields if (why := getattr(self, name))}


class Protection(Settings):
    """The rules in force. Those without a default must be there; of others see `without` there."""

    overvoltage: Overvoltage
    overvoltage_high_set: OvervoltageHighSet
    overcurrent: Overcurrent
    overcurrent_inverse: OvercurrentInverse | None = None
    supply_thermal: SupplyThermal | None = None
    temperature: Temperature | None = None
    rate_of_rise: RateOfRise
    knob_speed: KnobSpeed | None = None
    undervoltage: Undervoltage
    reverse_current: ReverseCurrent
    balance: Balance | None = None
    stage_limits: StageLimits | None = None
    sensing: Sensing = Sensing()
    stale: Stale = Stale()
    failed_to_open: FailedToOpen
    failed_to_close: FailedToClose = FailedToClose()
    loop_overrun: LoopOverrun = LoopOverrun()
    session_time: SessionTime | None = None
    session_charge: SessionCharge | None = None
    session_hold: SessionHold | None = None
    without: Without = Without()

    @property
    def lowest_trip_v(self) -> float:
        """The voltage that trips first, in the hold at the latest."""
        hold = self.stage_limits.hold if self.stage_limits else None
        over_v, hold_v = self.overvoltage.trip_volts, hold.trip_volts if hold else None
        return over_v if hold_v is None else min(over_v, hold_v)


# Every key that can name a trip but ``external``; the second line's settings stand with the parts.
RULE_KEYS = (*(name for name in Protection.model_fields if name != "without"), "second_line")
