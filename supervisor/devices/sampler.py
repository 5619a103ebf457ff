"""Samples of the fitted channels: bounded retries, then reopen the bus, then "cannot tell".

Once a window every channel is converted in the next wider range instead of its own. A live
converter then gives another code; one whose result register is stuck gives the same one.
"""

import logging

from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.converter import ConfigChanged, Converter, NotReady
from supervisor.devices.protocols import Clock
from supervisor.readings import Channel, Quality, Sample
from supervisor.settings.hardware import WIDER_RANGES, CellChannel, ShuntChannel
from supervisor.settings.model import SupervisorSettings

log = logging.getLogger(__name__)

# The shortest rule goes by single conversions of the cells: these are judged at their freshest.
ORDER = (Channel.SHUNT, Channel.FAR_CELL, Channel.FRONT_CELL)
TRIES = 2  # a second try costs less than a cycle; more would make the cycle late
TELL_EVERY_S = 10.0
TELLING_CODE = 64  # below, noise may well give the same code in both ranges
LARGEST = 0x7FFF


class ConverterSampler:
    """Takes single conversions. ``sample`` never raises."""

    def __init__(self, settings: SupervisorSettings, keeper: BusKeeper, clock: Clock) -> None:
        self._settings = settings
        self._keeper = keeper
        self._clock = clock
        self._converters: dict[str, Converter] = {}
        self._proven: set[str] = set()  # by name; outlives the opened bus
        self._generation = keeper.generation
        self._until_probe = dict.fromkeys(Channel, 0)
        self._own_code: dict[Channel, int] = {}
        self._tell_again_at_s: dict[Channel, float] = {}
        self.counters = keeper.counters
        self.channels: dict[Channel, CellChannel | ShuntChannel] = {
            channel: wiring
            for channel in ORDER
            if (wiring := getattr(settings.channels, channel.value)) is not None
        }

    def sample(self, channel: Channel) -> Sample:
        """One conversion of a fitted channel, or the reason why there is none."""
        quality = Quality.NO_ANSWER
        began_s = self._clock.now_s()
        for attempt in range(TRIES):
            self.counters.retries += attempt > 0
            try:
                code, taken_at_s = self._convert(channel)
            except (OSError, ValueError) as error:
                quality = Quality.NO_ANSWER
                self.counters.failed(error)
                self._tell(channel, str(error))
            except NotReady:
                quality = Quality.NOT_READY
                self._tell(channel, "the conversion did not end in time")
            except ConfigChanged as error:
                quality = error.quality
                self._tell(channel, f"{quality.value}: {error}")
            else:
                self._keeper.worked()
                self.counters.conversions += 1
                return self._sampled(channel, code, taken_at_s)
            if not self._keeper.is_open or self._keeper.hung(began_s):
                break
        if quality is Quality.NO_ANSWER:
            self._keeper.failed(began_s)
        return Sample(channel, None, quality, self._clock.now_s())

    def _convert(self, channel: Channel) -> tuple[int, float]:
        wiring = self.channels[channel]
        is_probe = self._is_probe(channel)
        volts = self._wider_volts(channel) if is_probe else wiring.range_volts
        converter = self._converter(wiring.converter)
        return converter.convert(wiring.inputs, volts, asks_first=is_probe)

    def _is_probe(self, channel: Channel) -> bool:
        return self._until_probe[channel] == 0 and channel in self._own_code

    def _wider_volts(self, channel: Channel) -> float:
        own_volts = self.channels[channel].range_volts
        return WIDER_RANGES.get(own_volts, own_volts)

    def _sampled(self, channel: Channel, code: int, taken_at_s: float) -> Sample:
        """The sample of a good conversion; of a probe, whether the converter lives."""
        if not self._is_probe(channel):
            self._own_code[channel] = code
            self._until_probe[channel] = max(0, self._until_probe[channel] - 1)
            return Sample(channel, code, Quality.GOOD, taken_at_s)
        self._until_probe[channel] = self._settings.loop.scans_per_window - 1
        ratio = self._wider_volts(channel) / self.channels[channel].range_volts
        stuck = code == self._own_code[channel] and TELLING_CODE <= abs(code) < LARGEST
        if stuck and ratio != 1:
            self._until_probe[channel] = 0  # until it lives again
            return Sample(channel, None, Quality.FROZEN, taken_at_s)
        return Sample(channel, code, Quality.GOOD, taken_at_s, ratio)

    def _converter(self, name: str) -> Converter:
        """A chip that has proved itself stays proven when the bus is opened anew.

        The bus went, not the chip: what comes back garbled then is a fault of bus or supply, and
        "the wrong chip" would make somebody replace a good one. Neither gives a value.
        """
        if self._generation != self._keeper.generation:
            self._generation = self._keeper.generation
            self._proven.update(n for n, chip in self._converters.items() if chip.is_proven)
            self._converters.clear()
        if name not in self._converters:
            bus, chip = self._keeper.bus(), self._settings.converters[name]
            is_proven = name in self._proven
            self._converters[name] = Converter(bus, chip, self._clock, is_proven=is_proven)
        return self._converters[name]

    def _tell(self, channel: Channel, text: str) -> None:
        """Log it, but not at every cycle of a fault that lasts."""
        now_s = self._clock.now_s()
        if now_s >= self._tell_again_at_s.get(channel, now_s):
            self._tell_again_at_s[channel] = now_s + TELL_EVERY_S
            log.warning("%s: %s", channel.value, text)
