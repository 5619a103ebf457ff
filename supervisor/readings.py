"""The data that flows from the bus to the rules: samples, readings, windows.

Times ending in ``_s`` are seconds of the monotonic clock (see ``devices.clock``).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum


class Channel(Enum):
    """The three things that are measured. ``shunt`` reads as amperes, the others as volts."""

    __hash__ = object.__hash__  # the stock one is slow, and every reading is looked up by it

    FRONT_CELL = "front_cell"
    FAR_CELL = "far_cell"
    SHUNT = "shunt"

    @property
    def unit(self) -> str:
        return "A" if self is Channel.SHUNT else "V"

    @property
    def words(self) -> str:
        """Its name for an operator."""
        return in_words(self.value)


def in_words(channel: str) -> str:
    """A channel's name for an operator, from its key."""
    return "current" if channel == Channel.SHUNT.value else channel.replace("_", " ")


class Quality(Enum):
    """Why a reading may be believed, or may not. Only ``GOOD`` readings reach a limit."""

    GOOD = "good"
    CLIPPED = "clipped"  # the converter's end code, 7FFFh or 8000h
    OUT_OF_RANGE = "out of range"  # no live cell or shunt reads like this
    FROZEN = "frozen"  # the same code for too long: a live converter has noise
    NO_ANSWER = "no answer"  # bus error after all retries
    NOT_READY = "not ready"  # the conversion did not end within its deadline
    CONFIG_CHANGED = "configuration changed"  # read-back differs from what was written
    CHIP_RESET = "reset"  # back at its power-on values between two steps, or since
    WRONG_CHIP = "the wrong chip"  # never behaved as the chip that is expected
    TOO_COARSE = "too coarse"  # only multiples of 16: a 12-bit part sold as 16
    LEAD_OPEN = "an open lead"  # at the level its bleed resistor holds it at
    LEAD_SHORTED = "a shorted lead"  # dead zero, where an open one would not read zero
    LEAD_REVERSED = "a reversed lead"  # a cell's voltage, with the wrong sign
    TOO_FEW = "too few"  # a window without enough good conversions

    @property
    def is_good(self) -> bool:
        return self is Quality.GOOD


@dataclass(frozen=True, slots=True)
class Sample:
    """One conversion as it left the converter.

    ``code`` is the signed 16-bit result, or None when ``quality`` says why there is none.
    ``ratio`` is the range it was converted in to the channel's own: once a window, a probe in the
    next wider range.
    """

    channel: Channel
    code: int | None
    quality: Quality
    taken_at_s: float
    ratio: float = 1.0

    @property
    def is_probe(self) -> bool:
        return self.ratio != 1.0


@dataclass(frozen=True, slots=True)
class Reading:
    """A calibrated value with its quality and expanded uncertainty (k = 2).

    ``value`` and ``uncertainty`` are in ``channel.unit``; ``value`` is None when the quality is
    not good. ``low`` and ``high`` are the extremes of a window, equal to ``value`` for one
    conversion.
    """

    channel: Channel
    value: float | None
    quality: Quality
    uncertainty: float
    taken_at_s: float
    low: float | None = None
    high: float | None = None

    @property
    def good_value(self) -> float | None:
        """The value when it may be believed, else None: "cannot tell"."""
        return self.value if self.quality.is_good else None


class Place(Enum):
    """What a temperature probe is fixed to."""

    HEAT_SINK = "heat_sink"
    TRANSFORMER = "transformer"
    CELLS = "cells"

    @property
    def words(self) -> str:
        return self.value.replace("_", " ")


@dataclass(frozen=True, slots=True)
class ProbeReading:
    """The newest answer of a temperature probe.

    ``celsius`` is None unless the quality is good; ``taken_at_s`` is when it was measured, or when
    it failed.
    """

    probe: str
    place: Place
    celsius: float | None
    quality: Quality
    taken_at_s: float


@dataclass(frozen=True, slots=True)
class SecondLine:
    """State of the comparator that holds the coil off without software.

    ``alert``: it does so now. ``problem`` says why it may not be relied on, empty when it was
    verified (``verified_at_s``) and has been as set ever since.
    """

    alert: bool
    problem: str
    verified_at_s: float | None


@dataclass(frozen=True, slots=True)
class Readings:
    """What every rule sees in one cycle.

    ``scan`` holds the newest conversion of each fitted channel, ``window`` the newest mean over
    whole mains cycles (None before the first). ``window_is_new`` is true in the one cycle in
    which that mean appeared. ``probes`` are the temperature probes by name; ``second_line`` is None
    when none is fitted.
    """

    scan: dict[Channel, Reading]
    window: dict[Channel, Reading] | None
    window_is_new: bool
    contactor: "ContactorState"
    pace: "Pace"
    probes: Mapping[str, "ProbeReading"] = field(default_factory=dict)
    second_line: "SecondLine | None" = None


@dataclass(frozen=True, slots=True)
class ContactorState:
    """What the coil was told and what the auxiliary contact says (None when not fitted)."""

    told_to_close: bool
    told_at_s: float
    auxiliary_closed: bool | None


@dataclass(frozen=True, slots=True)
class Pace:
    """How well the loop keeps its time: lateness of this cycle and deadlines missed so far."""

    late_s: float
    misses: int
