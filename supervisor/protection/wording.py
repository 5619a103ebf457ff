"""Words for the operator: channels by name, numbers with as many digits as help."""

from supervisor.readings import Channel, Quality, Reading

NAMES = {channel: channel.words for channel in Channel}
DIGITS = {"A": 1, "A/s": 1, "Ah": 1, "h": 2, "°C": 1}  # behind the point; else 3


def amount(value: float, unit: str) -> str:
    """A number with its unit: 3.612 V, 118.4 A, 0.061 V/min."""
    return f"{value:z.{DIGITS.get(unit, 3)}f} {unit}"  # z: no minus before nothing


def beside(value: float, limit: float, unit: str) -> str:
    """The same, with more digits when it would read like the limit that it is beyond."""
    text = amount(value, unit)
    return text if text != amount(limit, unit) else f"{value:.5g} {unit}"


def flaw(channel: Channel, reading: Reading | None) -> str:
    """What is wrong with a reading, after its channel's name: "far cell: no answer"."""
    quality = Quality.NO_ANSWER if reading is None else reading.quality
    return f"{NAMES[channel]}: {quality.value}"
