"""Times in words. Rounded down: nobody is to have less time than was said."""

MINUTE_S, HOUR_S = 60.0, 3600.0


def span(seconds: float) -> str:
    """A time in the unit that suits it: 95 s, 3 min, 2.5 h."""
    if seconds < 2 * MINUTE_S:
        return f"{seconds // 1:.0f} s"
    if seconds < 2 * HOUR_S:
        return f"{seconds // MINUTE_S:.0f} min"
    hours = seconds / HOUR_S
    return f"{hours * 10 // 1 / 10:.1f} h" if hours < 10 else f"{hours // 1:.0f} h"


def between(low_s: float, high_s: float) -> str:
    """Two times in one unit: 12 to 20 min."""
    low, high = span(low_s), span(high_s)
    if low == high:
        return low
    same_unit = low.split()[1] == high.split()[1]
    return f"{low.split()[0] if same_unit else low} to {high}"


def millivolts(volts: float) -> str:
    return f"{volts * 1000:.0f} mV"
