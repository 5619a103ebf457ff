"""Inverse-time curves of overcurrent relays, from IEC 60255-151 and IEEE C37.112.

Both standards write the same formula, IEC with B = 0:

    operates after  T * (A / (M^p - 1) + B)      above the pick-up, M > 1
    turns back in   T * t_r / (1 - M^2)          below it, IEEE only: the disk of old relays

M is the current in multiples of the pick-up. T, the time multiplier of IEC and the time dial of
IEEE, is left to the caller.
"""

from dataclasses import dataclass
from math import expm1, inf, log


@dataclass(frozen=True, slots=True)
class Curve:
    """One curve at T = 1; ``disk_reset_s`` is t_r, None for a curve without."""

    a: float
    p: float
    b: float = 0.0
    disk_reset_s: float | None = None

    def operate_s(self, multiple: float) -> float:
        """Seconds from rest to a trip at this constant multiple; infinite up to the pick-up."""
        if multiple <= 1:
            return inf
        return self.a / expm1(self.p * log(multiple)) + self.b

    def reset_s(self, multiple: float) -> float | None:
        """Seconds from the brink of a trip back to rest; infinite from the pick-up on.

        None for a curve that has no such characteristic. ``multiple`` is not negative.
        """
        if self.disk_reset_s is None:
            return None
        return inf if multiple >= 1 else self.disk_reset_s / (1 - multiple * multiple)


CURVES = {
    "iec_standard_inverse": Curve(0.14, 0.02),
    "iec_very_inverse": Curve(13.5, 1),
    "iec_extremely_inverse": Curve(80, 2),
    "iec_long_time_inverse": Curve(120, 1),
    "ieee_moderately_inverse": Curve(0.0515, 0.02, 0.1140, 4.85),
    "ieee_very_inverse": Curve(19.61, 2, 0.491, 21.6),
    "ieee_extremely_inverse": Curve(28.2, 2, 0.1217, 29.1),
}
