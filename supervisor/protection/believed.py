"""What a rule may compare with a limit."""

from math import isnan

from supervisor.readings import Quality, Reading

GOOD = Quality.GOOD


def believed(reading: Reading | None) -> float | None:
    """The value of a good reading; None for "cannot tell", and for a value that is no number."""
    if reading is None or reading.quality is not GOOD:
        return None
    value = reading.value
    return None if value is None or isnan(value) else value
