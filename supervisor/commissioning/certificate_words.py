"""What was found and written, and when, in words with units."""

from collections.abc import Mapping
from datetime import UTC, datetime
from decimal import Decimal

NAMES = {
    "gain": ("gain", ""),
    "offset_volts": ("offset", "V"),
    "offset_amperes": ("offset", "A"),
    "gain_uncertainty_percent": ("unsure of the gain", "%"),
    "zero_a": ("shown while none flowed", "A"),
    "longest_ms": ("longest", "ms"),
}
MEASURED = ("zero_a", "longest_ms")  # all others are settings, which have six decimals
LARGE = 1e7


def values_in_words(step: str, values: Mapping[str, float]) -> str:
    return ", ".join(_value(step, key, value) for key, value in values.items())


def minute(wall: str) -> str:
    """In UTC; a time that cannot be read, or has no zone, as it stands."""
    try:
        when = datetime.fromisoformat(wall)
        if when.tzinfo is None:
            return wall
        return f"{when.astimezone(UTC):%Y-%m-%d %H:%M}"
    except (ValueError, OverflowError):  # OverflowError: at either end of the calendar
        return wall


def _value(step: str, key: str, value: float) -> str:
    name, unit = NAMES.get(key, (key, ""))
    if key == "offset":
        unit = "A" if step == "current" else "V"
    return f"{name} {_number(key, value)} {unit}".rstrip()


def _number(key: str, value: float) -> str:
    if abs(value) >= LARGE:
        return f"{value:.7g}"
    plain = value if key in MEASURED else round(value, 6)
    digits = 4 if key in MEASURED else 7
    return format(Decimal(f"{plain + 0.0:.{digits}g}"), "f")  # no exponent, no minus before a zero
