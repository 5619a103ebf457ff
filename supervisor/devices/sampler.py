"""Samples of the fitted channels: bounded retries, then reopen the bus, then "cannot tell".

Once a window every channel is converted in the next wider range instead of its own. A live
converter then gives another code; one whose result register is stuck gives the same one.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass

from supervisor.devices.converter import ConfigChanged, Converter, NotReady
from supervisor.devices.errors import HardwareMissing
from supervisor.devices.protocols import Clock, I2CBus
from supervisor.readings import Channel, Quality, Sample
from supervisor.settings.hardware import WIDER_RANGES, CellChannel, ShuntChannel
from supervisor.settings.model import SupervisorSettings

log = logging.getLogger(__name__)

TRIES = 2  # a second try costs less than a cycle; more would make the cycle late
FAILURES_BEFORE_REOPENING = 3  # samples in a row without an answer
REOPEN_EVERY_S = 0.1
TELL_EVERY_S = 10.0
TELLING_CODE = 64  # below, noise may well give the same code in both ranges
LARGEST, SMALLEST = 0x7FFF, -0x8000


@dataclass(slots=True)
class BusCounters:
    """Totals since the start, for metrics."""

    conversions: int = 0
    errors: int = 0
    retries: int = 0
    reopenings: int = 0


class ConverterSampler:
    """Takes single conversions through one owner of the bus. ``sample`` never raises."""

    def __init__(
        self, settings: SupervisorSettings, open_bus: Callable[[], I2CBus], clock: Clock
    ) -> None:
        self._settings = settings
        self._open_bus = open_bus
        self._clock = clock
        self._bus: I2CBus | None = None
        self._converters: dict[str, Converter] = {}
        self._failures_in_a_row = 0
        self._reopen_at_s = clock.now_s()
        self._until_probe = dict.fromkeys(Channel, 0)
        self._own_code: dict[Channel, int] = {}
        self._deadline_s = settings.bus.deadline_milliseconds / 1000
        self._tell_again_at_s: dict[Channel, float] = {}
        self.counters = BusCounters()
        self.channels: dict[Channel, CellChannel | ShuntChannel] = {
            channel: wiring
            for channel in Channel
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
                self.counters.errors += 1
                self._tell(channel, str(error))
            except NotReady:
                quality = Quality.NOT_READY
                self._tell(channel, "the conversion did not end in time")
            except ConfigChanged as error:
                quality = Quality.CONFIG_CHANGED
                self._tell(channel, f"configuration changed: {error}")
            else:
                self._failures_in_a_row = 0
                self.counters.conversions += 1
                return self._sampled(channel, code, taken_at_s)
            if self._bus is None or self._clock.now_s() - began_s > self._deadline_s:
                break
        if quality is Quality.NO_ANSWER:
            self._count_failure(hung=self._clock.now_s() - began_s > self._deadline_s)
        return Sample(channel, None, quality, self._clock.now_s())

    def close(self) -> None:
        self._close_bus()

    def _convert(self, channel: Channel) -> tuple[int, float]:
        wiring = self.channels[channel]
        volts = self._wider_volts(channel) if self._is_probe(channel) else wiring.range_volts
        return self._converter(wiring.converter).convert(wiring.inputs, volts)

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
        scaled = min(max(round(code * ratio), SMALLEST), LARGEST)
        return Sample(channel, scaled, Quality.GOOD, taken_at_s, probe=True)

    def _converter(self, name: str) -> Converter:
        if name not in self._converters:
            bus = self._opened_bus()
            self._converters[name] = Converter(bus, self._settings.converters[name], self._clock)
        return self._converters[name]

    def _opened_bus(self) -> I2CBus:
        if self._bus is None:
            if self._clock.now_s() < self._reopen_at_s:
                raise OSError("bus closed after errors, to be opened again")
            self._reopen_at_s = self._clock.now_s() + REOPEN_EVERY_S
            try:
                self._bus = self._open_bus()
            except HardwareMissing as missing:
                raise OSError(str(missing)) from missing
        return self._bus

    def _count_failure(self, *, hung: bool) -> None:
        """Close a bus that fails again and again, or that hung: one hang a scan is enough."""
        self._failures_in_a_row += 1
        enough = hung or self._failures_in_a_row >= FAILURES_BEFORE_REOPENING
        if enough and self._bus is not None:
            self._failures_in_a_row = 0
            self._reopen_at_s = max(self._reopen_at_s, self._clock.now_s() + REOPEN_EVERY_S * hung)
            self.counters.reopenings += 1
            self._close_bus()

    def _close_bus(self) -> None:
        self._converters.clear()
        if self._bus is not None:
            try:
                self._bus.close()
            except OSError as error:
                log.warning("closing the bus: %s", error)
            self._bus = None

    def _tell(self, channel: Channel, text: str) -> None:
        """Log it, but not at every cycle of a fault that lasts."""
        now_s = self._clock.now_s()
        if now_s >= self._tell_again_at_s.get(channel, now_s):
            self._tell_again_at_s[channel] = now_s + TELL_EVERY_S
            log.warning("%s: %s", channel.value, text)
