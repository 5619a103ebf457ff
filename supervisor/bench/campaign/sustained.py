"""A condition that may hold, but not for long."""


class Sustained:
    """Fed with pieces of time in which the condition held or not; tells of too long, every time."""

    def __init__(self, allowed_s: float) -> None:
        self.allowed_s = allowed_s
        self.since_s: float | None = None

    def lasts(self, holds: bool, from_s: float, until_s: float) -> float | None:
        """How long it has held, if that is longer than allowed."""
        if not holds:
            self.since_s = None
            return None
        if self.since_s is None:
            self.since_s = from_s
        lasted_s = until_s - self.since_s
        return lasted_s if lasted_s > self.allowed_s else None
