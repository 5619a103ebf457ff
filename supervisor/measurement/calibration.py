"""From a converter's code to volts or amperes, and what of it may be believed."""

from collections.abc import Callable
from dataclasses import dataclass

from supervisor.measurement.plausible import any_current, plausible_cell
from supervisor.measurement.uncertainty import Budget, cell_budget, current_budget, lsb_v
from supervisor.readings import Quality
from supervisor.settings.hardware import CellChannel, ShuntChannel

# The converter's end codes mean "this much or more": ADS1115 data sheet.
HIGHEST_CODE = 0x7FFF
LOWEST_CODE = -0x8000


def is_clipped(code: float) -> bool:
    """Whether a code is an end of the range: 7FFFh and 8000h are no values."""
    return code >= HIGHEST_CODE or code <= LOWEST_CODE


@dataclass(frozen=True, slots=True)
class Calibration:
    """A channel's straight line, worked out once: value = code * scale + offset, in V or A.

    ``quality`` says of a value whether it can be true, or what is wrong with it.
    """

    scale: float
    offset: float
    quality: Callable[[float], Quality]
    budget: Budget

    def value(self, code: float) -> float:
        """``code`` in steps of the channel's own range."""
        return code * self.scale + self.offset


def calibration(channel: CellChannel | ShuntChannel) -> Calibration:
    """The calibration of a cell's voltage (V) or of a shunt's current (A)."""
    if isinstance(channel, CellChannel):
        return Calibration(
            scale=lsb_v(channel) * channel.gain,
            offset=channel.offset_volts,
            quality=plausible_cell(channel).quality,
            budget=cell_budget(channel),
        )
    return Calibration(
        scale=lsb_v(channel) / channel.ohms * channel.gain,
        offset=channel.offset_amperes,
        quality=any_current,
        budget=current_budget(channel),
    )
