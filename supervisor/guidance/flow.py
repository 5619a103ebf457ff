"""Does any current flow? A supply that has died looks like a bank that takes nothing more.

What tells them apart is the way down. A full bank's current fades: it spends minutes just above
what can be told from nothing. A dead supply's current is gone from one second to the next.
"""

from enum import Enum

from supervisor.guidance.seconds import LENGTH_S, Second

LEAST_OF_END = 0.02  # of the end current: less is no current that matters, however well measured
NEAR = 3.0  # times what can be told: a fading current passes here
AT_ONCE = 2.0  # times that: a current that falls from beyond it within a second does not fade
FADES_S = 180.0
NOTICED_AFTER_S = 30.0


class _State(Enum):
    NOT_YET = "nothing has flowed yet, or next to nothing"
    FLOWS = "well above what can be told from nothing"
    FADES = "just above it, and it came there slowly"
    FADED = "nothing, after it had faded for long enough"
    GONE = "at once nothing, or so little that it may be nothing; or backwards"


CREDIBLE = (_State.FLOWS, _State.FADES, _State.FADED)


class Flow:
    """Second by second, while closed."""

    def __init__(self, end_a: float) -> None:
        self._least_a = LEAST_OF_END * end_a
        self.begin()

    def begin(self) -> None:
        """With each closing."""
        self._state = _State.NOT_YET
        self._before_a = 0.0
        self._near_s = 0.0
        self._none_s = 0.0
        self.has_flowed = False  # since it was closed

    def take(self, second: Second) -> None:
        told_from_a = max(second.unsure_a, self._least_a)
        self._state = self._next(second.amperes, told_from_a)
        self._before_a = second.amperes
        self._near_s = self._near_s + LENGTH_S if self._state is _State.FADES else 0.0
        self._none_s = 0.0 if self.is_credible else self._none_s + LENGTH_S
        self.has_flowed |= self._state is _State.FLOWS

    def _next(self, amperes: float, told_from_a: float) -> _State:
        state, near_a = self._state, NEAR * told_from_a
        if amperes > near_a:
            return _State.FLOWS
        if amperes < -told_from_a:
            return _State.GONE
        if state is _State.FLOWS:
            came_slowly = told_from_a < amperes and self._before_a <= AT_ONCE * near_a
            return _State.FADES if came_slowly else _State.GONE
        if state is _State.FADES and amperes <= told_from_a:
            return _State.FADED if self._near_s >= FADES_S else _State.GONE
        return state

    @property
    def is_credible(self) -> bool:
        """It flows, or has faded away, as into a bank that is full."""
        return self._state in CREDIBLE

    @property
    def has_stopped(self) -> bool:
        """Nothing came yet, or all at once it was gone."""
        return self._none_s >= NOTICED_AFTER_S
