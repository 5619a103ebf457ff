"""Settings of the parts: bus, converters, channels, contactor, panel."""

from typing import Annotated, Literal

from pydantic import Field

from supervisor.settings.base import (
    Amperes,
    Milliseconds,
    OneOf,
    PinNumber,
    ReleaseMilliseconds,
    Settings,
    Volts,
)

Inputs = Literal["0-1", "0-3", "1-3", "2-3", "0", "1", "2", "3"]
# Ranges that have a wider one: there a stuck converter is found once a window.
WIDER_RANGES = {4.096: 6.144, 2.048: 4.096, 1.024: 2.048, 0.512: 1.024, 0.256: 0.512}
CODES_PER_RANGE = 32768  # of the converter, each way from zero
# Tolerance of an open lead's level, either way: the bias resistor's and that of the converter's own
# input. What still counts as dead zero: offset and noise. Both common practice, no source.
OPEN_LEAD_TOLERANCE = 0.4
DEAD_ZERO_VOLTS = 0.05
RangeVolts = Annotated[float, OneOf((6.144, 4.096, 2.048, 1.024, 0.512, 0.256))]


class Bus(Settings):
    """The I2C bus the converters sit on."""

    number: Annotated[int, Field(ge=0, le=63)] = Field(
        default=1, description="N of /dev/i2c-N; 1 is the one on a Raspberry Pi's header."
    )
    kilohertz: Literal[100, 400] = Field(
        default=100,
        description="Speed the kernel runs the bus at. Sets the time budget, not the speed itself.",
    )
    deadline_milliseconds: Annotated[float, Field(ge=10, le=100)] = Field(
        default=20, description="Longest time the kernel may spend on one transfer."
    )


class Converter(Settings):
    """One ADS1115 analog-to-digital converter."""

    address: Annotated[int, Field(ge=0x48, le=0x4B)] = Field(
        description="I2C address, set by the chip's ADDR pin: 0x48, 0x49, 0x4A or 0x4B."
    )
    samples_per_second: Literal[250, 475, 860] = Field(
        default=860, description="Conversion rate of the chip; its own clock is +-10 %."
    )
    supply_volts: Annotated[float, Field(ge=2.0, le=5.5)] = Field(
        default=5.0, description="Supply of the chip. No input may go above it."
    )


class CellChannel(Settings):
    """Voltage of one cell, sensed at its terminals."""

    converter: str = Field(description="Name of the converter it is wired to.")
    inputs: Inputs = Field(
        description='Chip inputs, "positive-negative" (0-1, 0-3, 1-3, 2-3) or one against ground.'
    )
    range_volts: RangeVolts = Field(
        default=4.096, description="Full-scale range. The limits must lie well inside it."
    )
    gain: Annotated[float, Field(ge=0.5, le=10)] = Field(
        default=1.0, description="Calibration: true volts per measured volt (divider included)."
    )
    offset_volts: Annotated[float, Field(ge=-0.1, le=0.1)] = Field(
        default=0.0, description="Calibration: volts added after the gain."
    )
    gain_uncertainty_percent: Annotated[float, Field(gt=0, le=5)] | None = Field(
        default=None,
        description="Limit of the gain error once calibrated; left out: the data sheet's figures.",
    )
    plausible_volts: tuple[float, float] = Field(
        default=(1.0, 4.05),
        description="A live cell reads between these. Outside: wiring fault, not a value.",
    )
    frozen_seconds: Annotated[float, Field(ge=1, le=60)] = Field(
        default=10, description="The very same code for so long means a stuck converter."
    )
    open_lead_volts: Annotated[float, Field(ge=0.1, le=0.9)] | None = Field(
        default=None,
        description="What the channel reads with its lead off, when a bias resistor holds it "
        "there; left out: a plain bleed to 0, and an open lead looks like a shorted one.",
    )

    @property
    def step_volts(self) -> float:
        """One step of the converter, in volts at the cell."""
        return self.range_volts / CODES_PER_RANGE * self.gain


class ShuntChannel(Settings):
    """Charging current, from the millivolts across a shunt. Positive into the bank."""

    converter: str = Field(description="Name of the converter it is wired to.")
    inputs: Inputs = Field(description='Chip inputs, "positive-negative".')
    range_volts: RangeVolts = Field(default=0.256, description="Full-scale range.")
    rated_amperes: Amperes = Field(description="Rating on the shunt's plate.")
    rated_millivolts: Annotated[float, Field(ge=10, le=250)] = Field(
        description="Voltage at rated current, on the plate: 50, 60, 75 or 100 mV."
    )
    gain: Annotated[float, Field(ge=0.5, le=2)] = Field(
        default=1.0, description="Calibration: true amperes per ampere by the plate."
    )
    offset_amperes: Annotated[float, Field(ge=-50, le=50)] = Field(
        default=0.0, description="Calibration: amperes added after the gain."
    )
    shunt_accuracy_percent: Annotated[float, Field(gt=0, le=5)] = Field(
        default=0.25, description="Accuracy class of the shunt, on its plate or data sheet."
    )
    gain_uncertainty_percent: Annotated[float, Field(gt=0, le=5)] | None = Field(
        default=None,
        description="Limit of the gain error once calibrated; left out: the data sheet's figures.",
    )
    frozen_seconds: Annotated[float, Field(ge=1, le=60)] = Field(
        default=10, description="The very same code for so long means a stuck converter."
    )

    @property
    def ohms(self) -> float:
        return self.rated_millivolts / 1000 / self.rated_amperes

    @property
    def millivolts_per_ampere(self) -> float:
        """Of true amperes, by the calibration."""
        return 1000 * self.ohms / self.gain


class Channels(Settings):
    """What is measured."""

    front_cell: CellChannel = Field(description="The cell where the feed enters: it runs ahead.")
    far_cell: CellChannel | None = Field(
        default=None, description="The cell farthest from the feed: it lags. Recommended."
    )
    shunt: ShuntChannel


class SecondLine(Settings):
    """A converter of its own whose ALERT output holds the coil off, without any software."""

    converter: str = Field(description="Name of the converter; no channel may use it.")
    inputs: Inputs = Field(description="Its inputs, wired to the front cell by leads of their own.")
    range_volts: RangeVolts = Field(default=4.096, description="Full-scale range.")
    gain: Annotated[float, Field(ge=0.5, le=10)] = Field(
        default=1.0, description="True volts per volt at its inputs (divider included)."
    )
    trip_volts: Volts = Field(
        description="Above this it holds the coil off: between the limits of the software and what "
        "the maker forbids."
    )
    release_volts: Volts = Field(
        description="Lets go again only below this, well under the limit: no chatter."
    )
    pin: PinNumber = Field(
        description="GPIO number that sees the ALERT line: low while it holds the coil off."
    )

    @property
    def channel(self) -> CellChannel:
        """The same wiring as a channel: for its calibration, its error and its time."""
        return CellChannel(
            converter=self.converter,
            inputs=self.inputs,
            range_volts=self.range_volts,
            gain=self.gain,
        )


class Probe(Settings):
    """One temperature probe."""

    chip: Literal["lm75", "ds18b20"] = Field(
        description="lm75: any chip of that class, on the I2C bus. ds18b20: on the one-wire bus."
    )
    place: Literal["heat_sink", "transformer", "cells"] = Field(
        description="What it is fixed to; says which limits count."
    )
    address: Annotated[int, Field(ge=0x48, le=0x4F)] | None = Field(
        default=None, description="lm75: its I2C address, 0x48 to 0x4F."
    )
    serial: Annotated[str, Field(pattern=r"^28-[0-9a-f]{12}$")] | None = Field(
        default=None,
        description="ds18b20: its number as the kernel shows it under /sys/bus/w1/devices.",
    )


class Auxiliary(Settings):
    """Auxiliary contact of the contactor: tells what the main contact really does."""

    pin: PinNumber = Field(description="GPIO number; the contact switches it to ground.")
    contact: Literal["normally_closed", "normally_open"] = Field(
        default="normally_closed",
        description="normally_closed: a mirror contact, closed while the main contact is open.",
    )


class Contactor(Settings):
    """The contactor in the charging circuit, driven active-high with an external pull-down."""

    pin: PinNumber = Field(description="GPIO number of the coil driver's input.")
    drive: Literal["level", "pulse"] = Field(
        description="level: high means closed. pulse: only edges hold it closed (charge pump)."
    )
    dropout_milliseconds: Milliseconds | None = Field(
        default=None,
        description="pulse only: the driver lets go so long after the last rising edge, the "
        "longest you measured; the shortest must be within a cycle of it.",
    )
    release_milliseconds: ReleaseMilliseconds = Field(
        description="Coil off to contact open, the worst you measured, driver included."
    )
    auxiliary: Auxiliary | None = Field(default=None, description="Auxiliary contact, if fitted.")
    rated_operations: Annotated[int, Field(ge=1, le=100_000_000)] | None = Field(
        default=None,
        description="Closings under load that its maker rates it for; counted down and shown.",
    )


class MainsContactor(Settings):
    """Second output: a relay in the supply's mains side."""

    pin: PinNumber = Field(description="GPIO number of its driver's input, active-high.")
    opens: Literal["every_opening", "failed_opening"] = Field(
        default="every_opening",
        description="With every opening, or only when the main contactor fails to open, or when "
        "the loop stands still and cannot see whether it did.",
    )


class StopButton(Settings):
    """Opens and locks out. Normally closed to ground: a broken wire counts as pressed."""

    pin: PinNumber = Field(description="GPIO number; the button connects it to ground.")


class ResetButton(Settings):
    """Resets a lockout when held. Normally open, to ground."""

    pin: PinNumber = Field(description="GPIO number; the button connects it to ground.")
    hold_seconds: Annotated[float, Field(ge=1, le=30)] = Field(
        default=3.0, description="Must be held so long: a bump resets nothing."
    )


class OutputPin(Settings):
    """A plain output: buzzer or lamp, on while high."""

    pin: PinNumber = Field(description="GPIO number, on while high.")


class Panel(Settings):
    """Buttons, buzzer and lamp on the box; all optional."""

    stop_button: StopButton | None = Field(default=None, description="Opens and locks out.")
    reset_button: ResetButton | None = Field(default=None, description="Resets a lockout.")
    buzzer: OutputPin | None = Field(
        default=None, description="Sounds at a trip, and when a cue asks for a hand."
    )
    lamp: OutputPin | None = Field(
        default=None,
        description="Lit while the circuit is closed, winking while a cue asks for a hand; flashes "
        "twice every 3 s when it is finished.",
    )
    silence_minutes: Annotated[float, Field(ge=1, le=60)] = Field(
        default=15, description="`holdwatch silence` keeps the buzzer quiet for so long."
    )


class Gpio(Settings):
    """The GPIO controller the pins belong to."""

    chip_label: str | None = Field(
        default=None,
        description="Kernel label of the GPIO chip; leave out to find the Raspberry Pi's own.",
    )
