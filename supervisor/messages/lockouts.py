"""Which lockouts have been told, so that none is told twice: journal and status both know of it.

Neither gives a lockout a name, and a clock may be set back, by every start of a machine without a
battery for it. So one is known again by its reason and its time only as long as nothing lies
between: a reset ends that. The journal may be written late, though: it is known what it still owes.
"""

from dataclasses import dataclass, field

SAME_WITHIN_S = 5.0  # of the clock on the wall: noted twice, a moment apart
REMEMBERED = 20


@dataclass
class Told:
    """``is_in_journal``: it was read there. ``is_over``: the status has shown none since."""

    reason: str
    wall_s: float
    is_in_journal: bool = True
    is_over: bool = False

    def is_same(self, reason: str, wall_s: float) -> bool:
        return self.reason == reason and abs(self.wall_s - wall_s) < SAME_WITHIN_S


@dataclass
class Lockouts:
    """``standing``: the reason of the one in force, as far as it was told. ``not_open``: that the
    contactor did not open was told as well."""

    standing: str = ""
    not_open: bool = False
    told: list[Told] = field(default_factory=list)

    def tell(self, reason: str, wall_s: float, *, not_open: bool, by_journal: bool) -> None:
        self.standing, self.not_open = reason, not_open
        self.told = [*self.told, Told(reason, wall_s, by_journal)][-REMEMBERED:]

    def find(self, reason: str, wall_s: float) -> bool:
        """Whether a trip of the journal was told by the status before. Each event comes once: no
        second one is the same."""
        for told in self.told:
            if not told.is_in_journal and told.is_same(reason, wall_s):
                told.is_in_journal = True
                return True
        return False

    def stands(self, reason: str, wall_s: float) -> bool:
        """Found again, by a restart of the daemon or in the status."""
        return self.standing == reason or any(
            not told.is_over and told.is_same(reason, wall_s) for told in self.told
        )

    @property
    def is_any(self) -> bool:
        """As far as was told, and the status has not shown the end of it."""
        return bool(self.standing) or any(not told.is_over for told in self.told)

    def reset(self) -> None:
        """As the journal tells."""
        self.standing, self.not_open = "", False
        self.told = [told for told in self.told if not told.is_in_journal]

    def is_gone(self) -> None:
        """From the status, whatever the journal tells."""
        self.reset()
        for told in self.told:
            told.is_over = True
