"""A reference that a channel is calibrated against, and how wrong it may be by its own statement.

A data sheet states accuracy as percent of the reading, plus counts of the last digit, plus
sometimes a fixed part. That is one limit of error, taken as rectangular (GUM, JCGM 100, 4.3.7), and
it belongs to the meter: all points taken with it on one range share it, so no number of points
makes it less. The display's last digit and the scatter are each reading's own, and do average out.
Values are in the meter's unit, V or A.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from math import hypot, isfinite
from typing import Literal

from supervisor.measurement.uncertainty import ONE_STEP, RECTANGULAR

Unit = Literal["V", "A"]

MOST_PERCENT = 10.0  # more is no reference, but a slip of the keyboard. Ours, no source.
LONGEST = 80  # characters of a statement


class UnclearAccuracy(ValueError):
    """A statement that is not understood, or that no meter can have; says what to write."""


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter, or a clamp, on one range. ``resolution``: one count of its display, in V or A.

    Raises UnclearAccuracy for numbers that no meter has.
    """

    reading_percent: float
    counts: float
    resolution: float
    fixed: float = 0.0

    def __post_init__(self) -> None:
        parts = (self.reading_percent, self.counts, self.fixed)
        if not all(isfinite(part) and part >= 0 for part in (*parts, self.resolution)):
            raise UnclearAccuracy(
                "An accuracy is made of plain numbers, none below zero: write 0.5 % + 2."
            )
        if self.resolution == 0:
            raise UnclearAccuracy(
                "The resolution is what one step of the last digit means on the range in use: of a "
                "display 3.452 V it is 0.001 V. It cannot be zero."
            )
        if self.reading_percent > MOST_PERCENT:
            raise UnclearAccuracy(
                f"{self.reading_percent:g} % is too coarse to calibrate with (at most "
                f"{MOST_PERCENT:g} %). Look it up again for the range in use."
            )
        if not any(parts):
            raise UnclearAccuracy(
                "No meter is without error: write what its manual says, such as 0.5 % + 2."
            )

    @property
    def gain_standard(self) -> float:
        """Standard uncertainty that grows with the value, per unit; one and the same for all."""
        return self.reading_percent / 100 / RECTANGULAR

    @property
    def offset_standard(self) -> float:
        """Standard uncertainty that is there at any value; one and the same for all."""
        return (self.counts * self.resolution + self.fixed) / RECTANGULAR

    def limit(self, at: float) -> float:
        """Largest error at a value by the statement."""
        return self.reading_percent / 100 * abs(at) + self.counts * self.resolution + self.fixed

    def systematic(self, at: float) -> float:
        """Standard uncertainty of what all readings share. The parts of a statement add up: it
        promises the sum, and not that they are independent."""
        return self.limit(at) / RECTANGULAR

    def random(self, scatter: float = 0.0) -> float:
        """Standard uncertainty of one reading's own: +-1/2 of the last digit, and the scatter
        (standard deviation of the mean) when several were taken."""
        return hypot(self.resolution / ONE_STEP, scatter)

    def standard(self, at: float, scatter: float = 0.0) -> float:
        """Combined standard uncertainty of one reading at a value."""
        return hypot(self.systematic(at), self.random(scatter))

    def words(self, unit: Unit) -> str:
        """Its statement, plainly."""
        parts = [f"{self.reading_percent:g} % of the reading"] * bool(self.reading_percent)
        parts += [f"{self.counts:g} counts"] * bool(self.counts)
        parts += [f"{self.fixed:g} {unit}"] * bool(self.fixed)
        count = format(Decimal(f"{self.resolution:.6g}"), "f")  # no exponent
        return f"{' + '.join(parts)}, one count {count} {unit}"

    def across(self, ohms: float, accuracy_percent: float) -> "Meter":
        """This voltmeter across a second shunt: an ammeter. The limits of the two add up."""
        if not (isfinite(ohms) and ohms > 0):
            raise UnclearAccuracy(
                "A shunt has more than zero ohms: its volts divided by its amperes, on its plate."
            )
        return Meter(
            self.reading_percent + accuracy_percent,
            self.counts,
            self.resolution / ohms,
            self.fixed / ohms,
        )


def stated(statement: str, resolution: float, unit: Unit) -> Meter:
    """A meter by the statement in its manual, for the range in use.

    ``0.5 % + 2``, ``+-(0,5 % of reading + 2 counts)``, ``0.1 % + 3 digits + 0.2 mV``. Raises
    UnclearAccuracy, in words.
    """
    if len(statement) > LONGEST:
        raise UnclearAccuracy(f"That is longer than {LONGEST} characters. {_LIKE}")
    found: dict[str, float] = {}
    for part in _parts(statement):
        kind, amount = _meaning(part, unit, after_percent="percent" in found)
        if kind in found:
            raise UnclearAccuracy(f"{part!r} says a second time what stands before. {_LIKE}")
        found[kind] = amount
    return Meter(
        reading_percent=found.get("percent", 0.0),
        counts=found.get("counts", 0.0),
        resolution=resolution,
        fixed=found.get("fixed", 0.0),
    )


def quantity(text: str, unit: Unit) -> float:
    """``0.001``, ``1 mV`` or ``0,1 A`` in V or A. Raises UnclearAccuracy, in words."""
    number, word = _split(text)
    return number if not word else number * _factor(text, word, unit)


_LIKE = "Write it as in the manual, for the range in use: 0.5 % + 2."
_NUMBER = re.compile(r"\s*([0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)\s*(.*?)\s*", re.DOTALL)
_PREFIXES = {"": 1.0, "m": 1e-3, "u": 1e-6, "\u00b5": 1e-6, "\u03bc": 1e-6, "k": 1e3}
# Words behind a number, without spaces and points, in small letters.
_OF_READING = {
    sign + words
    for sign in ("%", "percent", "prozent")
    for words in ("", "ofreading", "reading", "rdg", "ofrdg", "vm", "mw", "vommesswert", "vmw")
}
_COUNTS = {"count", "counts", "ct", "cts", "digit", "digits", "dgt", "dgts", "d", "lsd", "stellen"}


def _parts(statement: str) -> list[str]:
    """What stands between the signs; +- in any spelling, and brackets, mean nothing here."""
    plain = re.sub(r"\u00b1|\+/-|\+-", "+", statement)
    parts = re.sub(r"[()\[\]]", " ", plain).split("+")
    if not parts[0].strip():
        del parts[0]
    if not parts or not all(part.strip() for part in parts):
        raise UnclearAccuracy(f"A part of {statement!r} is missing. {_LIKE}")
    return [part.strip() for part in parts]


def _meaning(part: str, unit: Unit, *, after_percent: bool) -> tuple[str, float]:
    """What a part is, and how much."""
    number, word = _split(part)
    bare = re.sub(r"[\s.]", "", word).casefold()
    if not bare:
        if not after_percent:
            raise UnclearAccuracy(f"{part!r} of what? {_LIKE}")
        if number != int(number):
            raise UnclearAccuracy(
                f"{part!r} is no whole number of counts. If it is in {unit}, write {part} {unit}."
            )
        return "counts", number
    if bare in _OF_READING:
        return "percent", number
    if bare in _COUNTS:
        return "counts", number
    if set(bare) == {"%"}:
        raise UnclearAccuracy(f"{part!r} has one % too many. {_LIKE}")
    if bare.startswith("%"):
        raise UnclearAccuracy(
            f"{part!r} is not of the reading. Of a range, or of its end, it is a fixed part: "
            f"0.05 % of a range of 10 {unit} is 0.005 {unit}. Write that instead."
        )
    return "fixed", number * _factor(part, word, unit)


def _split(part: str) -> tuple[float, str]:
    """A number that is not below zero, and the words behind it."""
    match = _NUMBER.fullmatch(part)
    if match is None:
        raise UnclearAccuracy(f"{part[:LONGEST]!r} does not begin with a number. {_LIKE}")
    text, word = match[1], match[2]
    if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", text):
        raise UnclearAccuracy(
            f"{text} can be read in two ways. Write {text.replace(',', '.')} or "
            f"{text.replace(',', '')}."
        )
    return float(text.replace(",", ".")), word


def _factor(part: str, word: str, unit: Unit) -> float:
    """Of a unit with its prefix, to V or A."""
    if word.endswith(unit) and word[:-1] in _PREFIXES:
        return _PREFIXES[word[:-1]]
    other = "A" if unit == "V" else "V"
    if word.endswith(other) and word[:-1] in _PREFIXES:
        raise UnclearAccuracy(f"{part!r} is in {word}, and here {unit} is measured.")
    raise UnclearAccuracy(f"{word[:LONGEST]!r} behind a number is not understood. {_LIKE}")
