"""Invariant i: an end without a word would be found, as long as something may be closed.

Whoever closes has the latch say ``armed`` before, and only an opening that was seen lets it say
``clear`` again.
"""

from collections.abc import Iterator

from supervisor.bench.campaign.daemon import NONE, Daemon
from supervisor.bench.campaign.violation import Violation
from supervisor.snapshot import Circuit

UNGUARDED = ("clear", NONE)
ON = (Circuit.CLOSED, Circuit.PAUSED)
SEEN = "opening confirmed"
TELLING = ("opening", "reset")


class Latched:
    """``look`` after each cycle; ``goes_on`` when the coil's pin goes up."""

    def __init__(self, daemon: Daemon) -> None:
        self._daemon = daemon
        self._unguarded_since_s: float | None = None

    def goes_on(self, at_s: float) -> Iterator[Violation]:
        state = self._daemon.latch.state
        if state != "armed":
            yield Violation("i", "latch", at_s, f"the coil goes on while the latch says {state}")

    def look(self, now_s: float) -> Iterator[Violation]:
        state, circuit = self._daemon.latch.state, self._daemon.circuit
        if state not in UNGUARDED:
            self._unguarded_since_s = None
            return
        if self._unguarded_since_s is None:
            self._unguarded_since_s = now_s
        if circuit in ON:
            yield Violation("i", "latch", now_s, f"{circuit.value}, and the latch says {state}")
        elif unseen := self._unseen():
            yield Violation("i", "latch", now_s, f"{unseen}, and the latch says {state}")

    def _unseen(self) -> str:
        """What the daemon told last of an opening, if not that it was seen; "" if nobody knows."""
        snapshot, since_s = self._daemon.snapshot(), self._unguarded_since_s
        if snapshot is None or since_s is None or snapshot.now_s < since_s:
            return ""
        told = [event for event in snapshot.events if event.code in TELLING]
        is_seen = not told or told[-1].code == "reset" or told[-1].text.startswith(SEEN)
        return "" if is_seen else told[-1].text
