"""Which lockouts have been told, so that none is told twice: journal and status both know of it."""

from dataclasses import dataclass, field

SAME_WITHIN_S = 5.0  # of the clock on the wall: noted twice, a moment apart
REMEMBERED = 20


@dataclass
class Told:
    reason: str
    wall_s: float


@dataclass
class Lockouts:
    """``standing``: the reason of the one in force, as far as it was told. ``not_open``: that the
    contactor did not open was told as well."""

    standing: str = ""
    not_open: bool = False
    told: list[Told] = field(default_factory=list)

    def tell(self, reason: str, wall_s: float, *, not_open: bool) -> None:
        self.standing, self.not_open = reason, not_open
        self.told = [*self.told, Told(reason, wall_s)][-REMEMBERED:]

    def is_told(self, reason: str, wall_s: float) -> bool:
        """This very one, wherever it is found."""
        return any(
            told.reason == reason and abs(told.wall_s - wall_s) < SAME_WITHIN_S
            for told in self.told
        )

    def stands(self, reason: str, wall_s: float) -> bool:
        """Found again, by a restart of the daemon or in the status."""
        return self.standing == reason or self.is_told(reason, wall_s)

    def reset(self) -> None:
        self.standing, self.not_open = "", False
