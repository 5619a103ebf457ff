"""Does any current flow? A supply that has died looks like a bank that takes nothing more.

What tells them apart is the way down. A full bank's current fades: it spends minutes just above
what can be told from nothing. A dead supply's current is gone from one second to the next.
"""

from supervisor.guidance.seconds import LENGTH_S, Second

LEAST_OF_END = 0.02  # of the end current: less is no current that matters, however well measured
NEAR = 3.0  # times what can be told: a fading current passes here
FADES_S = 60.0
NOTICED_AFTER_S = 30.0


class Flow:
    """Second by second, while closed."""

    def __init__(self, end_a: float) -> None:
        self._least_a = LEAST_OF_END * end_a
        self.begin()

    def begin(self) -> None:
        """With each closing."""
        self._near_s = 0.0
        self._none_s = 0.0
        self.has_flowed = False  # since it was closed

    def take(self, second: Second) -> None:
        told_from_a = max(second.unsure_a, self._least_a)
        if second.amperes <= told_from_a:
            self._none_s += LENGTH_S
            return
        self._none_s = 0.0
        self.has_flowed = True
        is_near = second.amperes <= NEAR * told_from_a
        self._near_s = self._near_s + LENGTH_S if is_near else 0.0

    @property
    def is_credible(self) -> bool:
        """It flows, or has faded away, as into a bank that is full."""
        return self.has_flowed and (self._none_s == 0 or self._near_s >= FADES_S)

    @property
    def has_stopped(self) -> bool:
        """None flows, and it did not fade: nothing came yet, or all at once it was gone."""
        return self._none_s >= NOTICED_AFTER_S and not self.is_credible
