"""A live converter has noise: the very same code for too long means that it is stuck."""


class FrozenWatch:
    """Adds up how long one channel has read the very same code.

    Only the time between two believable conversions counts, so that a bad one in between neither
    ends the count nor lets it grow; and no step counts for more than ``longest_step_s``, so that
    a loop that stood still is no evidence against the converter.
    """

    __slots__ = ("_code", "_frozen_s", "_held_s", "_longest_step_s", "_seen_at_s")

    def __init__(self, frozen_s: float, longest_step_s: float) -> None:
        self._frozen_s = frozen_s
        self._longest_step_s = longest_step_s
        self._code: int | None = None
        self._held_s = 0.0
        self._seen_at_s: float | None = None

    def interrupt(self) -> None:
        """A conversion that is not to be believed: the time until the next does not count."""
        self._seen_at_s = None

    def is_frozen(self, code: int, taken_at_s: float) -> bool:
        """Take a believable code; whether it has stood for ``frozen_s``."""
        if code != self._code:
            self._code = code
            self._held_s = 0.0
        elif self._seen_at_s is not None:
            step_s = taken_at_s - self._seen_at_s
            self._held_s += min(max(step_s, 0.0), self._longest_step_s)
        self._seen_at_s = taken_at_s
        return self._held_s >= self._frozen_s
