"""Which readings really happened, judged at the chips: converted, and fetched by somebody."""

from supervisor.readings import Channel
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.ads1115 import ADS1115, CONFIG, CONVERSION, INPUTS, OS
from supervisor.simulator.world import World


class _Ear:
    """Sits at the chip's place on the wire and notes what passes; changes nothing."""

    def __init__(self, chip: ADS1115, channels: dict[int, Channel]) -> None:
        self._chip = chip
        self._channels = channels
        self._pointer = CONVERSION
        self._asked = 0
        self._ended_before = 0
        self.fetched_at_s: dict[Channel, float] = {}
        self.moved_at_s: dict[Channel, float] = {}

    def write(self, data: bytes, at_s: float) -> None:
        self._chip.write(data, at_s)
        if data:
            self._pointer = data[0] & 0x03
        if len(data) >= 3 and self._pointer == CONFIG:
            self._asked = data[1] << 8 | data[2]
            self._ended_before = self._chip.conversions

    def read(self, length: int, at_s: float) -> bytes:
        answer = self._chip.read(length, at_s)
        if self._pointer == CONVERSION and self._has_converted():
            channel = self._channels.get(self._asked >> 12 & 7)
            if channel is not None:
                self.fetched_at_s[channel] = at_s
                if not self._chip.trouble.frozen:
                    self.moved_at_s[channel] = at_s
        return answer

    def reset(self, at_s: float) -> None:
        self._chip.reset(at_s)

    def _has_converted(self) -> bool:
        """As it was asked to, and anew."""
        chip = self._chip
        as_asked = chip.config & ~OS == self._asked & ~OS
        return as_asked and chip.conversions > self._ended_before


class Freshness:
    """When each needed channel was last really read."""

    def __init__(self, settings: SupervisorSettings, world: World) -> None:
        wired = fitted_channels(settings)
        self._needed = tuple(wired)
        self._began_s = world.clock.now_s()
        self._ears = []
        for name, converter in settings.converters.items():
            mine = {
                _multiplexer(wiring.inputs): channel
                for channel, wiring in wired.items()
                if wiring.converter == name
            }
            if mine:
                ear = _Ear(world.chips[name], mine)
                world.wire.chips[converter.address] = ear
                self._ears.append(ear)

    def read_at_s(self) -> dict[Channel, float]:
        """When each needed channel was last converted and fetched."""
        return self._times([ear.fetched_at_s for ear in self._ears])

    def live_at_s(self) -> dict[Channel, float]:
        """The same of results that can move at all: those of a frozen chip do not count."""
        return self._times([ear.moved_at_s for ear in self._ears])

    def _times(self, heard: list[dict[Channel, float]]) -> dict[Channel, float]:
        read = {channel: at_s for times in heard for channel, at_s in times.items()}
        return {channel: read.get(channel, self._began_s) for channel in self._needed}


def _multiplexer(inputs: str) -> int:
    """The chip's code for "0-1" or "2"."""
    positive, _, negative = inputs.partition("-")
    return INPUTS.index((int(positive), int(negative) if negative else None))
