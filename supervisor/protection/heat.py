"""First-order thermal replica of IEC 60255-149: the heat of a part, from the current it carries.

    tau * d(theta)/dt = (I / I_continuous)^2 - theta

``theta`` is the heat in units of what the continuous current comes to in the end: 1 is all that the
part bears. For a current that is constant over a step the equation has an exact solution, so that
steps may be as long and as uneven as they come.
"""

from math import exp, expm1, log, log1p


class ThermalReplica:
    """One part. Currents are effective (rms) ones, in A; times in s, not negative."""

    __slots__ = ("_tau_s", "continuous_a", "theta")

    def __init__(self, continuous_a: float, time_constant_s: float, theta: float = 0.0) -> None:
        self.continuous_a = continuous_a
        self._tau_s = time_constant_s
        self.theta = theta

    def step(self, current_a: float, for_s: float) -> None:
        """Carry a constant current for some time."""
        self.theta = self.after(current_a, for_s)

    def after(self, current_a: float, for_s: float) -> float:
        """Theta after such a step, which is not taken."""
        passed = for_s / self._tau_s
        return self.theta * exp(-passed) + self._settles_at(current_a) * -expm1(-passed)

    def left_s(self, current_a: float) -> float | None:
        """Time to theta 1 at this current: 0 when it is there, None when it never comes there."""
        if self.theta >= 1:
            return 0.0
        settles_at = self._settles_at(current_a)
        if settles_at <= 1:
            return None
        return self._tau_s * log1p((1 - self.theta) / (settles_at - 1))

    def cooling_s(self, to: float) -> float:
        """Time to cool to this theta without current; 0 when it is no hotter."""
        return self._tau_s * log(self.theta / to) if self.theta > to else 0.0

    def _settles_at(self, current_a: float) -> float:
        ratio = current_a / self.continuous_a
        return ratio * ratio
