"""k out of n, for at least a delay: one odd reading neither trips nor saves."""

from collections import deque


class Debounce:
    """Confirms that a limit is passed.

    Timing starts with the first reading over the limit. It trips when at least ``confirm`` of the
    last ``of`` readings are over and ``delay_s`` has passed since the start. When more than
    ``of - confirm`` of the last ``of`` are not over, the start moves to the earliest later reading
    over the limit with which that does not hold; without one, timing ends. So a reading more over
    the limit can only bring a trip nearer.

    A reading that cannot tell (None) changes nothing: it ends no timing and completes none.
    """

    __slots__ = ("_confirm", "_delay_s", "_last", "_overs", "_spare", "is_tripped", "since_s")

    def __init__(self, confirm: int, of: int, delay_s: float) -> None:
        if not 1 <= confirm <= of:
            raise ValueError(f"confirm is {confirm}, must be between 1 and of ({of})")
        self._confirm = confirm
        self._spare = of - confirm
        self._delay_s = delay_s
        self._last: deque[tuple[bool, float]] = deque(maxlen=of)  # since the start
        self._overs = 0  # in ``_last``
        self.since_s: float | None = None
        self.is_tripped = False

    def update(self, over: bool | None, now_s: float) -> bool:
        """Take one reading; whether it is tripped now."""
        if over is None or not (over or self._last):
            return self.is_tripped
        self._append(over, now_s)
        self._restart_if_broken()
        self.is_tripped = (
            self.since_s is not None
            and self._overs >= self._confirm
            and now_s - self.since_s >= self._delay_s
        )
        return self.is_tripped

    def for_s(self, now_s: float) -> float:
        """How long it has been timing; 0 when it is not."""
        return 0.0 if self.since_s is None else now_s - self.since_s

    def reset(self) -> None:
        """Back to the state before the first reading."""
        self._last.clear()
        self._overs = 0
        self.since_s = None
        self.is_tripped = False

    def _append(self, over: bool, now_s: float) -> None:
        last = self._last
        if len(last) == last.maxlen:
            self._overs -= last[0][0]
        last.append((over, now_s))
        self._overs += over
        if self.since_s is None:
            self.since_s = now_s

    def _restart_if_broken(self) -> None:
        last = self._last
        if len(last) - self._overs <= self._spare:
            return
        while last and (len(last) - self._overs > self._spare or not last[0][0]):
            self._overs -= last.popleft()[0]
        self.since_s = last[0][1] if last else None
