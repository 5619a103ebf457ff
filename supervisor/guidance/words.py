"""What is said to the operator. Times are rounded down: nobody is to have less than was said."""

from math import ceil

from supervisor.snapshot import CueView, Urgency

MINUTE_S, HOUR_S = 60.0, 3600.0
UNIT_S = {"s": 1.0, "min": MINUTE_S, "h": HOUR_S}
LEAST_PART = 0.5  # of a unit: less of it is better said in the next smaller one
TENTHS_BELOW = 10.0
FLOATS = 1e-9  # what a division may be off by


def span(seconds: float) -> str:
    """A time in the unit that suits it: 95 s, 3 min, 2.5 h."""
    unit = _unit(seconds)
    return f"{_down(seconds / UNIT_S[unit], tenths=unit == 'h')} {unit}"


def between(low_s: float, high_s: float) -> str:
    """Two times, in one unit where both can be said in it: 12 to 20 min, 1.5 to 3 min.

    The true time lies between what is said: the later end is rounded up.
    """
    unit = _unit(high_s)
    high = f"{_up(high_s / UNIT_S[unit], tenths=unit == 'h')} {unit}"
    if low_s < LEAST_PART * UNIT_S[unit]:
        low = span(low_s)
    else:
        low = _down(low_s / UNIT_S[unit], tenths=unit == "h" or _unit(low_s) != unit)
    low = low.removesuffix(f" {unit}")
    return high if high == f"{low} {unit}" else f"{low} to {high}"


def when(low_s: float, high_s: float) -> str:
    """In 12 to 20 min; within 20 min, when nobody knows how soon."""
    if low_s > 0:
        return f"in {between(low_s, high_s)}"
    unit = _unit(high_s)
    return f"within {_up(high_s / UNIT_S[unit], tenths=unit == 'h')} {unit}"


def cue_line(cue: CueView) -> str:
    """A cue on a line of its own; what is urgent in capitals."""
    urgent = {Urgency.NOW.value: "NOW: ", Urgency.SOON.value: "SOON: "}.get(cue.urgency, "")
    return f"> {urgent}{cue.text}"


def millivolts(volts: float) -> str:
    return f"{volts * 1000:.0f} mV"


def _unit(seconds: float) -> str:
    if seconds < 2 * MINUTE_S:
        return "s"
    return "min" if seconds < 2 * HOUR_S else "h"


def _down(value: float, *, tenths: bool) -> str:
    if tenths and value < TENTHS_BELOW:
        return f"{value * 10 // 1 / 10:.1f}"
    return f"{value // 1:.0f}"


def _up(value: float, *, tenths: bool) -> str:
    if tenths and value < TENTHS_BELOW:
        return f"{ceil(value * 10 - FLOATS) / 10:.1f}"
    return f"{ceil(value - FLOATS):.0f}"
