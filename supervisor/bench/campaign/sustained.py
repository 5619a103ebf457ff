"""A condition that may hold, but not for long."""


class Sustained:
    """Fed with pieces of time in which the condition held or not; tells once of too long."""

    def __init__(self, allowed_s: float) -> None:
        self.allowed_s = allowed_s
        self.since_s: float | None = None
        self._told = False

    def lasts(self, holds: bool, from_s: float, until_s: float) -> float | None:
        """How long it has held, if that is longer than allowed and not told before."""
        if not holds:
            self.since_s, self._told = None, False
            return None
        if self.since_s is None:
            self.since_s = from_s
        lasted_s = until_s - self.since_s
        if self._told or lasted_s <= self.allowed_s:
            return None
        self._told = True
        return lasted_s
