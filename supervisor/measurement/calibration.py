"""From a converter's code to volts or amperes, and what of it may be believed."""

from dataclasses import dataclass
from math import inf

from supervisor.measurement.uncertainty import Budget, cell_budget, current_budget, lsb_v
from supervisor.settings.hardware import CellChannel, ShuntChannel

# The converter's end codes mean "this much or more": ADS1115 data sheet.
HIGHEST_CODE = 0x7FFF
LOWEST_CODE = -0x8000


def is_clipped(code: int) -> bool:
    """Whether a code is an end of the range: 7FFFh and 8000h are no values."""
    return code >= HIGHEST_CODE or code <= LOWEST_CODE


@dataclass(frozen=True, slots=True)
class Calibration:
    """A channel's straight line, worked out once: value = code * scale + offset, in V or A."""

    scale: float
    offset: float
    plausible: tuple[float, float]
    budget: Budget

    def value(self, code: int) -> float:
        return code * self.scale + self.offset

    def is_plausible(self, value: float) -> bool:
        low, high = self.plausible
        return low <= value <= high


def calibration(channel: CellChannel | ShuntChannel) -> Calibration:
    """The calibration of a cell's voltage (V) or of a shunt's current (A)."""
    if isinstance(channel, CellChannel):
        return Calibration(
            scale=lsb_v(channel) * channel.gain,
            offset=channel.offset_volts,
            plausible=channel.plausible_volts,
            budget=cell_budget(channel),
        )
    return Calibration(
        scale=lsb_v(channel) / channel.ohms * channel.gain,
        offset=channel.offset_amperes,
        plausible=(-inf, inf),  # a shunt may carry anything the converter can read
        budget=current_budget(channel),
    )
