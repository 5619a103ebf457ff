"""Between two pulses of a pulsed hold: open, armed, every rule in force. What ends that."""

from supervisor.protection.decision import Decision
from supervisor.protection.verdict import Verdict

DOUBT_ENDS_S = 60.0


class BetweenPulses:
    """A trip is final. A doubt is none, the circuit being open: it only keeps it so, and ends the
    pulses when it lasts."""

    def __init__(self) -> None:
        self._doubtful_since_s: float | None = None

    def begin(self) -> None:
        """A pulse has ended."""
        self._doubtful_since_s = None

    def trip(self, decision: Decision) -> Verdict | None:
        """A rule past its limit. Whether it has opened may not even be in doubt: then the mains
        side is to open as well."""
        if decision.trip and decision.trip.by_doubt and not decision.trip_of("failed_to_open"):
            return None
        return decision.trip

    def why_no_more(self, decision: Decision, now_s: float) -> str:
        """Why there is to be no further pulse; empty while there may be one."""
        if decision.permit:
            self._doubtful_since_s = None
            return ""
        if self._doubtful_since_s is None:
            self._doubtful_since_s = now_s
        if now_s - self._doubtful_since_s <= DOUBT_ENDS_S:
            return ""
        why = decision.trip or decision.doubt
        told = f"no pulse after {DOUBT_ENDS_S:g} s of doubt"
        return f"{told}: {why.reason}" if why else told
