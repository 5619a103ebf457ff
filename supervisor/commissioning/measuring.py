"""What the channels read, without any rule: the way of the daemon, from bus to reading."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from math import sqrt

from supervisor.commissioning.leaves import Leaves
from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.sampler import ConverterSampler
from supervisor.measurement.chain import MeasurementChain
from supervisor.readings import Channel, Quality, Reading
from supervisor.settings.model import SupervisorSettings

FEWEST = 10


class CannotTell(Exception):
    """A channel gives no value to go by; why, in words."""


@dataclass(frozen=True, slots=True)
class Mean:
    """Of single conversions, in the channel's unit; ``standard`` is that of the mean."""

    value: float
    standard: float
    count: int


class Measuring:
    """Scans of all fitted channels, at the daemon's pace."""

    def __init__(self, settings: SupervisorSettings, leaves: Leaves) -> None:
        self._settings = settings
        self._clock = leaves.clock
        deadline_s = settings.bus.deadline_milliseconds / 1000
        self._keeper = BusKeeper(leaves.open_bus, leaves.clock, deadline_s)
        self._sampler = ConverterSampler(settings, self._keeper, leaves.clock)
        self._chain = MeasurementChain(settings)

    def scan(self) -> dict[Channel, Reading]:
        """The newest reading of every fitted channel; takes one cycle."""
        self._clock.sleep_until(self._clock.now_s() + self._settings.loop.cycle_s)
        return self._chain.take([self._sampler.sample(one) for one in self._sampler.channels])

    def mean(self, channel: Channel, seconds: float) -> Mean:
        """Raises CannotTell when fewer than nine in ten of its conversions may be believed."""
        until_s = self._clock.now_s() + seconds
        seen: list[Reading] = []
        while self._clock.now_s() < until_s:
            seen.append(self.scan()[channel])
        return _mean(channel, seen)

    def wait(self, seconds: float) -> None:
        """For filters to settle."""
        self._clock.sleep_until(self._clock.now_s() + seconds)

    def close(self) -> None:
        self._keeper.close()


@contextmanager
def measuring(settings: SupervisorSettings, leaves: Leaves) -> Iterator[Measuring]:
    """The bus is open within it."""
    opened = Measuring(settings, leaves)
    try:
        yield opened
    finally:
        opened.close()


def _mean(channel: Channel, readings: list[Reading]) -> Mean:
    values = [value for one in readings if (value := one.good_value) is not None]
    if len(values) < max(FEWEST, 0.9 * len(readings)):
        raise CannotTell(f"{channel.words}: {_why(readings)}")
    mean = sum(values) / len(values)
    variance = sum((value - mean) ** 2 for value in values) / (len(values) - 1)
    return Mean(mean, sqrt(variance / len(values)), len(values))


def _why(readings: list[Reading]) -> str:
    bad = [one.quality for one in readings if one.quality is not Quality.GOOD]
    if not bad:
        return f"only {len(readings)} conversions"
    worst = max(set(bad), key=bad.count)
    return f"{len(bad)} of {len(readings)} conversions are no values: {worst.value}"
