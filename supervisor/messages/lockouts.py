"""Which lockouts have been told, so that none is told twice: journal and status both know of it.

Neither gives a lockout a name, and a clock may be set back, by every start of a machine without a
battery for it. So one is known again by its reason and its time only as long as nothing lies
between: a reset ends that. The journal may be written late, though: it is known what it still owes.
That is of the time before the status showed it, by the daemon's own clock: what is of later is
another trip, though it has the same words, and the same date by a clock that was set back.
"""

from dataclasses import dataclass, field

SAME_WITHIN_S = 5.0  # of the clock on the wall: noted twice, a moment apart
REMEMBERED = 20


@dataclass
class Told:
    """``is_in_journal``: it was read there. ``shown_at_s``: by the daemon's clock, when the status
    showed one that was not. ``is_over``: the status has shown none since."""

    reason: str
    wall_s: float
    is_in_journal: bool = True
    is_over: bool = False
    shown_at_s: float = 0.0

    def is_same(self, reason: str, wall_s: float) -> bool:
        return self.reason == reason and abs(self.wall_s - wall_s) < SAME_WITHIN_S


@dataclass
class Lockouts:
    """``standing``: the reason of the one in force, as far as it was told. ``not_open``: that the
    contactor did not open was told as well."""

    standing: str = ""
    not_open: bool = False
    told: list[Told] = field(default_factory=list)

    def tell(
        self, reason: str, wall_s: float, *, not_open: bool, shown_at_s: float | None = None
    ) -> None:
        """By the journal, or by a status of ``shown_at_s``."""
        self.standing, self.not_open = reason, not_open
        told = Told(reason, wall_s)
        if shown_at_s is not None:
            told.is_in_journal, told.shown_at_s = False, shown_at_s
        self.told = [*self.told, told][-REMEMBERED:]

    def find(self, reason: str, wall_s: float, mono_s: float) -> bool:
        """Whether a trip of the journal was told by the status before. Each event comes once: no
        second one is the same."""
        for told in self.told:
            is_owed = not told.is_in_journal and mono_s <= told.shown_at_s
            if is_owed and told.is_same(reason, wall_s):
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

    def is_another(self, reason: str, wall_s: float) -> None:
        """From the status: its date is not that of the one before, which is over then, however
        soon, and whatever its words."""
        if not any(told.is_same(reason, wall_s) for told in self.told):
            self.is_gone()
