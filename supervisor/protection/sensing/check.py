"""What the rule's checks have in common."""

from typing import Protocol

from supervisor.protection.verdict import Verdict
from supervisor.readings import Readings

KEY = "sensing"


class Check(Protocol):
    """One reason not to believe what is read. Asked in every cycle."""

    def judge(self, readings: Readings, now_s: float) -> Verdict | None:
        """The rule's verdict, or None when there is nothing to object to."""
        ...
