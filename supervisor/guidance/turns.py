"""Has somebody turned the knob? The current moves by more within seconds than it does by itself."""

STEP_A, STEP_SHARE = 1.0, 0.05  # of the current
LEVEL_OVER_S = 5.0


class Turns:
    """Second by second. A step goes on until the current stays."""

    def __init__(self) -> None:
        self._level_a: float | None = None

    def take(self, amperes: float) -> bool:
        """Whether this second belongs to a turn."""
        level_a = amperes if self._level_a is None else self._level_a
        has_turned = abs(amperes - level_a) > max(STEP_A, STEP_SHARE * abs(level_a))
        if has_turned:
            level_a = amperes
        self._level_a = level_a + (amperes - level_a) / LEVEL_OVER_S
        return has_turned
