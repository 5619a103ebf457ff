"""Numbers and times as the report says them."""

import re
from datetime import UTC, datetime

from markupsafe import Markup

MINUTE_S, HOUR_S = 60.0, 3600.0
UNKNOWN = "not known"
KEY = re.compile(r"`([^`]*)`|\b([a-z][a-z0-9]*(?:[._][a-z0-9]+)+)\b")


def utc(wall_s: float | None, form: str = "%Y-%m-%d %H:%M:%S") -> str:
    if wall_s is None:
        return UNKNOWN
    try:
        return datetime.fromtimestamp(wall_s, UTC).strftime(form)
    except (OverflowError, OSError, ValueError):
        return "no date"  # the clock was wild


def minute(at_s: float | None, digits: int = 1) -> str:
    """Since the session began."""
    return UNKNOWN if at_s is None else f"{at_s / MINUTE_S:.{digits}f}"


def duration(seconds: float | None) -> str:
    if seconds is None:
        return UNKNOWN
    if seconds < 2 * MINUTE_S:
        return f"{seconds:.0f} s"
    minutes = round(seconds / MINUTE_S)
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60:02d} min"


def number(value: float | None, digits: int, unit: str) -> str:
    """No minus before nothing."""
    return UNKNOWN if value is None else f"{value:z.{digits}f} {unit}"


def reckoned(value: float, unit: str) -> str:
    """Without an uncertainty of its own: 0.152 Ah, 8120.4 Wh."""
    return f"{value:z.{3 if abs(value) < 100 else 1}f} {unit}"


def millivolts(volts: float) -> str:
    return f"{round(volts * 1000)} mV"


def breakable(key: str) -> Markup:
    """A long key that may go on in the next line after a part of it."""
    return Markup("_<wbr>").join(key.split("_"))


def with_error(value: float, error: float | None, unit: str) -> str:
    """As many digits as its expanded uncertainty leaves sense in: 25.1 ± 0.2 Ah."""
    if error is None or error <= 0:
        return f"{value:.4g} {unit}"
    digits = next((k for k in range(4) if error >= 0.995 * 10**-k), 3)
    digits = min(digits + 1, 3) if error < 10 else digits
    return f"{value:.{digits}f} ± {max(error, 10**-digits):.{digits}f} {unit}"


def capital(text: str) -> str:
    """To begin a sentence with."""
    return text[:1].upper() + text[1:]


def plain(key: str) -> str:
    """A key of the settings or a code, to be read: rate of rise."""
    return key.replace("_", " ")


def without_keys(text: str) -> str:
    """A sentence about settings for those who never saw a file of them: keys become words."""
    return KEY.sub(lambda key: f"“{plain((key[1] or key[2]).replace('.', ' '))}”", text)
