"""The coil of a contactor: its current, and when that lets the armature go."""

import math

NEVER = float("inf")


class Coil:
    """L di/dt + R i = V; switched off, the current runs on against the suppression's voltage.

    Both are exact exponentials from whatever current there is. ``clamp_v`` of None is a coil
    without suppression: its current is gone at once. The inductance is the same for armature in
    and out, which is rough: pull-in only has to take about the right time.
    """

    def __init__(
        self,
        *,
        supply_v: float,
        ohm: float,
        henry: float,
        pull_in_a: float,
        hold_a: float,
        clamp_v: float | None,
    ) -> None:
        self.full_a = supply_v / ohm
        self.pull_in_a = pull_in_a
        self.hold_a = hold_a
        self._rise_s = henry / ohm
        self._fall_s = 0.0 if clamp_v is None else henry / ohm
        self._sink_a = 0.0 if clamp_v is None else clamp_v / ohm
        self._on = False
        self._start_a = 0.0
        self._since_s = 0.0

    @property
    def pull_in_s(self) -> float:
        """From no current until the armature moves."""
        return self._passes_s(0.0, on=True)

    @property
    def release_s(self) -> float:
        """From full current until the armature is let go."""
        return self._passes_s(self.full_a, on=False)

    def current_a(self, at_s: float) -> float:
        goal_a, constant_s = self._course(self._on)
        kept = math.exp((self._since_s - at_s) / constant_s) if constant_s else 0.0
        return max(goal_a + (self._start_a - goal_a) * kept, 0.0)

    def switch(self, on: bool, at_s: float) -> float:
        """When the armature starts to move for it; at once if the current is there already."""
        self._start_a = self.current_a(at_s)
        self._since_s = at_s
        self._on = on
        return at_s + self._passes_s(self._start_a, on)

    def break_wire(self, at_s: float) -> None:
        """No path for the current, not even through the suppression."""
        self._on, self._start_a, self._since_s = False, 0.0, at_s

    def _course(self, on: bool) -> tuple[float, float]:
        """Where the current is heading, and the time constant."""
        return (self.full_a, self._rise_s) if on else (-self._sink_a, self._fall_s)

    def _passes_s(self, start_a: float, on: bool) -> float:
        goal_a, constant_s = self._course(on)
        passed_a = self.pull_in_a if on else self.hold_a
        if (start_a >= passed_a) is on or start_a == passed_a:
            return 0.0
        if on and goal_a <= passed_a:
            return NEVER
        return constant_s * math.log((start_a - goal_a) / (passed_a - goal_a))


def ideal_coil() -> Coil:
    """No inductance: the armature follows at once."""
    return Coil(supply_v=1, ohm=1, henry=0, pull_in_a=0.5, hold_a=0.5, clamp_v=None)
