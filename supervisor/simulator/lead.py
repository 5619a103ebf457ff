"""A sense lead: from the true quantity in the plant to the volts at a converter's input."""

import math
from collections.abc import Callable

from supervisor.settings.hardware import CellChannel
from supervisor.simulator.plant import Plant

Source = Callable[[float], float]  # of the time, in the channel's unit


class Lead:
    """Follows ``true`` through divider or shunt and a first-order filter.

    ``true`` gives the mean and the amplitude of the ripple, in the channel's unit; ``scale`` is
    volts per unit, ``offset`` is what the settings' calibration will add back.

    The lead's own resistance divides with the bleed resistor at the input, which pulls towards
    ``open_v``; the filter's time constant is not changed by it. ``stray_v`` is what the converter
    sees of its common-mode voltage.
    """

    def __init__(
        self,
        plant: Plant,
        true: Callable[[], tuple[float, float]],
        *,
        scale: float,
        offset: float,
        filter_hz: float,
        start_s: float,
        ohm: float = 0.0,
        bleed_ohm: float = math.inf,
        open_v: float = 0.0,
        stray_v: float = 0.0,
    ) -> None:
        self._plant = plant
        self._true = true
        self._scale = scale
        self._offset = offset
        self._filter_s = 1 / (2 * math.pi * filter_hz)
        self._ohm = ohm
        self._bleed_ohm = bleed_ohm
        self._open_v = open_v
        self._stray_v = stray_v
        self.add_ohm(0.0)
        self.held_v: float | None = None  # at the input, whatever the plant does: off, shorted
        self.source: Source | None = None  # of its own, in the place of the plant
        self.added = 0.0  # in the channel's unit: thermo-voltage, corroded joint
        self.reversed = False
        ripple_hz = plant.supply.ripple_hz
        self._ripple_rad_per_s = 2 * math.pi * ripple_hz
        self._ripple_hz = ripple_hz
        self._passed = 1 / math.hypot(1, ripple_hz / filter_hz)
        self._lag_rad = math.atan(ripple_hz / filter_hz)
        self._settled_s = start_s
        self._mean_v = self._target_v(start_s)
        plant.before_change.append(self.settle)

    def add_ohm(self, joint_ohm: float) -> None:
        """A joint in series with the lead."""
        total_ohm = self._ohm + joint_ohm
        self._lost = total_ohm / (total_ohm + self._bleed_ohm)

    def settle(self, at_s: float) -> None:
        """The filter's output moves towards the present mean until then."""
        span_s = at_s - self._settled_s
        if span_s > 0:
            target_v = self._target_v(at_s)
            kept = math.exp(-span_s / self._filter_s)
            self._mean_v = target_v + (self._mean_v - target_v) * kept
            self._settled_s = at_s

    @property
    def shown(self) -> float:
        """What it comes to, once settled, in the channel's unit: the truth, while it is whole."""
        return self._target_v(self._settled_s) / self._scale + self._offset

    def trade_places(self, other: "Lead") -> None:
        """Each at the other's end, whatever is there."""
        self._true, other._true = other._true, self._true
        self.source, other.source = other.source, self.source

    @property
    def volts_per_unit(self) -> float:
        return self._scale

    def put_on(self, source: Source | None, at_s: float) -> None:
        """On a source of its own from now on; None: back on the plant."""
        self.settle(at_s)
        self.source = source

    def rescale(self, scale: float) -> None:
        """Another shunt: so many volts for each ampere."""
        self._scale = scale

    def volts(self, middle_s: float, span_s: float) -> float:
        """Mean at the converter's input over a span."""
        self._plant.advance(middle_s)
        self.settle(middle_s)
        amplitude = 0.0 if self.source else self._true()[1]
        if not amplitude or self.held_v is not None:
            return self._mean_v
        angle = self._ripple_rad_per_s * middle_s - self._lag_rad
        return self._mean_v + self._to_volts(amplitude) * (1 - self._lost) * (
            self._passed * _sinc(self._ripple_hz * span_s) * math.sin(angle)
        )

    def _target_v(self, at_s: float) -> float:
        if self.held_v is not None:
            return self.held_v
        quantity = self.source(at_s) if self.source else self._true()[0]
        source_v = self._to_volts(quantity + self.added - self._offset)
        return source_v + (self._open_v - source_v) * self._lost + self._stray_v

    def _to_volts(self, quantity: float) -> float:
        return -quantity * self._scale if self.reversed else quantity * self._scale


def _sinc(x: float) -> float:
    return math.sin(math.pi * x) / (math.pi * x)


def open_input_v(channel: CellChannel) -> float:
    """What the input of a cell's channel is held at with its lead off."""
    if channel.open_lead_volts is None:
        return 0.0
    return (channel.open_lead_volts - channel.offset_volts) / channel.gain
