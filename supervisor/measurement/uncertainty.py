"""How wrong a reading can be: the error budget of a channel (GUM, JCGM 100).

Limits of error of the ADS1115's data sheet, each taken as a rectangular distribution, combined as
root sum of squares; expanded with k = 2. The tolerance of a divider and of series resistors is
not in it: a channel that has them must be calibrated.
"""

from dataclasses import dataclass
from functools import cached_property
from math import sqrt

from supervisor.settings.hardware import CODES_PER_RANGE, CellChannel, ShuntChannel

COVERAGE_FACTOR = 2.0
TEMPERATURE_SPAN_K = 20.0  # between calibration and use

GAIN_LIMIT = 0.0015
CHANNEL_MATCH_LIMIT = 0.001
OFFSET_LIMIT_LSB = 3.0
NONLINEARITY_LIMIT_LSB = 1.0
GAIN_DRIFT_PER_K = 40e-6  # the data sheet's worst; given for the wide ranges
GAIN_DRIFT_256_MV_PER_K = 7e-6  # the range of +-0.256 V, typical: no worst is given

RECTANGULAR = sqrt(3)  # limit / sqrt(3) is the standard uncertainty
ONE_STEP = sqrt(12)  # a step that is as wide as the limit: quantisation


@dataclass(frozen=True, slots=True)
class Contribution:
    """One source of error: a fixed limit in the channel's unit, or one relative to the value."""

    name: str
    fixed_limit: float = 0.0
    relative_limit: float = 0.0
    divisor: float = RECTANGULAR

    def standard(self, at: float) -> float:
        """Standard uncertainty at a value, in the channel's unit."""
        return (self.fixed_limit + self.relative_limit * abs(at)) / self.divisor


@dataclass(frozen=True)
class Budget:
    """All contributions of one channel; values and results in its unit (V or A).

    Made once per channel: ``expanded`` is then one square root, U = k * sqrt(a + b * x^2), cheap
    enough for every conversion. Print ``contributions`` to show where it comes from.
    """

    contributions: tuple[Contribution, ...]

    @cached_property
    def fixed_variance(self) -> float:
        return sum((c.fixed_limit / c.divisor) ** 2 for c in self.contributions)

    @cached_property
    def relative_variance(self) -> float:
        return sum((c.relative_limit / c.divisor) ** 2 for c in self.contributions)

    def standard(self, at: float) -> float:
        """Combined standard uncertainty u at a value."""
        return sqrt(self.fixed_variance + self.relative_variance * at * at)

    def expanded(self, at: float) -> float:
        """Expanded uncertainty U = k * u at a value, k = 2."""
        return COVERAGE_FACTOR * self.standard(at)


def cell_budget(channel: CellChannel) -> Budget:
    """Budget of a cell's voltage, in V. A divider's gain scales the converter's steps."""
    return Budget(_converter(channel, step=lsb_v(channel) * channel.gain))


def current_budget(channel: ShuntChannel) -> Budget:
    """Budget of the current, in A.

    The shunt's accuracy counts beside a calibrated gain, too: a calibration in volts says nothing
    of the shunt, and one in amperes takes over the accuracy of the reference.
    """
    shunt = Contribution("shunt", relative_limit=channel.shunt_accuracy_percent / 100)
    step = lsb_v(channel) / channel.ohms * channel.gain
    return Budget((shunt, *_converter(channel, step)))


def cell_uncertainty_v(channel: CellChannel, at_v: float) -> float:
    """Expanded uncertainty (k = 2) of a cell's voltage. Keep ``cell_budget`` in a fast loop."""
    return cell_budget(channel).expanded(at_v)


def current_uncertainty_a(channel: ShuntChannel, at_a: float) -> float:
    """Expanded uncertainty (k = 2) of the current. Keep ``current_budget`` in a fast loop."""
    return current_budget(channel).expanded(at_a)


def acceptance_limit(tolerance_limit: float, expanded_uncertainty: float) -> float:
    """Highest reading that shows the true value to be within an upper limit (ILAC-G8, w = U).

    A true value on the limit is then accepted by mistake in at most 2.275 % of readings.
    """
    return tolerance_limit - expanded_uncertainty


def lsb_v(channel: CellChannel | ShuntChannel) -> float:
    """One step of the converter at its inputs, in V."""
    return channel.range_volts / CODES_PER_RANGE


def _converter(channel: CellChannel | ShuntChannel, step: float) -> tuple[Contribution, ...]:
    return (
        *_gain(channel.gain_uncertainty_percent),
        _drift(channel.range_volts),
        Contribution("offset", fixed_limit=OFFSET_LIMIT_LSB * step),
        Contribution("nonlinearity", fixed_limit=NONLINEARITY_LIMIT_LSB * step),
        Contribution("quantisation", fixed_limit=step, divisor=ONE_STEP),
    )


def _gain(calibrated_percent: float | None) -> tuple[Contribution, ...]:
    """Calibrating a channel removes both the gain error and the mismatch between channels."""
    if calibrated_percent is not None:
        return (Contribution("gain, calibrated", relative_limit=calibrated_percent / 100),)
    return (
        Contribution("gain", relative_limit=GAIN_LIMIT),
        Contribution("channel match", relative_limit=CHANNEL_MATCH_LIMIT),
    )


def _drift(range_volts: float) -> Contribution:
    narrowest = range_volts <= 0.256
    per_k = GAIN_DRIFT_256_MV_PER_K if narrowest else GAIN_DRIFT_PER_K
    return Contribution("gain drift", relative_limit=per_k * TEMPERATURE_SPAN_K)
