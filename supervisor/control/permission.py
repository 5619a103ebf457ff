"""Permission to be closed: each cycle that permits it extends it, and without that it runs out."""

from supervisor.devices.contactor import Contactor, LeaseExpired
from supervisor.protection.decision import KNOW_WHY, Decision
from supervisor.protection.verdict import State, Verdict


class Permission:
    """Remembers why it was withheld: that names the trip when it has run out."""

    def __init__(self, contactor: Contactor, lease_s: float) -> None:
        self._contactor = contactor
        self._lease_s = lease_s
        self._withheld_by: Verdict | None = None

    @property
    def ran_out(self) -> bool:
        """While closed; the coil has dropped by itself then."""
        return self._contactor.lease_ran_out

    def begin(self) -> None:
        """Close."""
        self._withheld_by = None
        self._contactor.close_for(self._lease_s)

    def renew(self, decision: Decision) -> bool:
        """Extend it if this decision permits. False: it had run out before."""
        if not decision.permit:
            self._withheld_by = _first_cause(self._withheld_by, decision.doubt)
            return True
        try:
            self._contactor.renew(self._lease_s)
        except LeaseExpired:
            return False
        self._withheld_by = None
        return True

    def trip(self) -> Verdict:
        """Of permission that ran out."""
        cause = self._withheld_by
        reason = (
            f"no cycle with good readings for {self._lease_s:g} s: permission to be closed ran out"
        )
        return Verdict(
            rule=cause.rule if cause else "stale",
            state=State.TRIP,
            measured=None,
            limit=self._lease_s,
            unit="s",
            since_s=None,
            reason=f"{reason} ({cause.reason})" if cause else reason,
            remedy=cause.remedy if cause else "",
            by_doubt=True,
        )


def _first_cause(before: Verdict | None, now: Verdict | None) -> Verdict | None:
    """A rule that knows why stays named while others go on to miss the readings it missed."""
    if before is None or (now is not None and now.rule in KNOW_WHY):
        return now or before
    return before
