"""The rush of current into a transformer that is switched onto the mains."""

import math

from supervisor.simulator.coil import NEVER
from supervisor.simulator.switch import Switch


class Inrush:
    """A core that saturates: past the knee only the winding's air-core inductance is left.

    Closed at angle a of the voltage's sine, the flux peaks at 1 + cos a plus the remanence, in
    units of its usual peak, and the current at V sqrt2 / |Z| times what is above the knee
    (from memory, as handbooks give it). Each half-cycle of the same sign is smaller
    than the one before by exp(-R T / L). The bank does not notice: it all happens on the
    mains side, and is over before the capacitor is charged.
    """

    def __init__(
        self, *, volts: float, hertz: float, ohm: float, henry: float, remanence: float, knee: float
    ) -> None:
        self.hertz = hertz
        self._full_a = math.sqrt(2) * volts / math.hypot(ohm, 2 * math.pi * hertz * henry)
        self._remanence = remanence
        self._knee = knee
        self._kept = math.exp(-ohm / (hertz * henry))

    def peak_a(self, angle_rad: float, cycle: int = 0) -> float:
        """Of so many cycles after the first; the worse of both directions."""
        cosine = math.cos(angle_rad)
        flux = 1 + max(cosine + self._remanence, -cosine - self._remanence)
        return self._full_a * max(flux - self._knee, 0.0) * self._kept**cycle


class MainsRelay(Switch):
    """Welds when it makes onto more current than it is rated to make.

    The mains' angle is that of a sine that began at time 0.
    """

    def __init__(
        self, pull_in_s: float, release_s: float, inrush: Inrush, making_a: float = NEVER
    ) -> None:
        super().__init__(pull_in_s, release_s)
        self._inrush = inrush
        self.making_a = making_a
        self.last_inrush_a = 0.0

    def touches(self, at_s: float) -> None:
        self.last_inrush_a = self._inrush.peak_a(2 * math.pi * self._inrush.hertz * at_s)
        if self.last_inrush_a > self.making_a:
            self.welded = True
