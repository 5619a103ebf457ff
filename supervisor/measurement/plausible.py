"""What a live cell can read; and of what it cannot, which fault of the sense lead shows so."""

from dataclasses import dataclass

from supervisor.readings import Quality
from supervisor.settings.hardware import DEAD_ZERO_VOLTS, OPEN_LEAD_TOLERANCE, CellChannel


@dataclass(frozen=True, slots=True)
class PlausibleCell:
    """Calibrated volts in, quality out.

    ``zero_v`` is what 0 V at the converter's input reads as; ``open_lead_v`` what a bias resistor
    holds an open lead at, None for a plain bleed to 0 V.
    """

    low_v: float
    high_v: float
    zero_v: float = 0.0
    open_lead_v: float | None = None

    def quality(self, volts: float) -> Quality:
        if self.low_v <= volts <= self.high_v:
            return Quality.GOOD
        if self.low_v <= -volts <= self.high_v:
            return Quality.LEAD_REVERSED
        if abs(volts - self.zero_v) <= DEAD_ZERO_VOLTS:
            return Quality.LEAD_OPEN if self.open_lead_v is None else Quality.LEAD_SHORTED
        if self.open_lead_v is not None and self._is_at(self.open_lead_v, volts):
            return Quality.LEAD_OPEN
        return Quality.OUT_OF_RANGE

    @staticmethod
    def _is_at(level_v: float, volts: float) -> bool:
        return abs(volts - level_v) <= OPEN_LEAD_TOLERANCE * level_v


def plausible_cell(channel: CellChannel) -> PlausibleCell:
    low_v, high_v = channel.plausible_volts
    return PlausibleCell(low_v, high_v, channel.offset_volts, channel.open_lead_volts)


def any_current(_amperes: float) -> Quality:
    """A shunt may carry anything the converter can read; open or shorted, it reads 0 A as well."""
    return Quality.GOOD
