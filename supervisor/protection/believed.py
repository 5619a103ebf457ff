"""What a rule may compare with a limit."""

from math import isnan

from supervisor.readings import Channel, Quality, Reading, Readings

GOOD = Quality.GOOD


def believed(reading: Reading | None) -> float | None:
    """The value of a good reading; None for "cannot tell", and for a value that is no number."""
    if reading is None or reading.quality is not GOOD:
        return None
    value = reading.value
    return None if value is None or isnan(value) else value


def mean_after(
    readings: Readings, channel: Channel, from_s: float, window_s: float
) -> float | None:
    """The newest mean of a channel, if its window began at or after this time and it is good."""
    mean = readings.window.get(channel) if readings.window else None
    if mean is None or mean.taken_at_s - window_s < from_s:
        return None
    return believed(mean)
