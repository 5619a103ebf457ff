"""Invariant j: whoever closes, and for whatever reason, no rule stands in the way."""

from collections.abc import Iterator

from supervisor.bench.campaign.daemon import Daemon
from supervisor.bench.campaign.violation import Violation
from supervisor.protection.verdict import State
from supervisor.snapshot import Circuit


class Closing:
    """``look`` after each cycle: one that closes is published in that very cycle."""

    def __init__(self, daemon: Daemon) -> None:
        self._daemon = daemon
        self._was = daemon.circuit

    def look(self, now_s: float) -> Iterator[Violation]:
        before, self._was = self._was, self._daemon.circuit
        if self._was is not Circuit.CLOSED or before is Circuit.CLOSED:
            return
        snapshot = self._daemon.snapshot()
        for rule in snapshot.rules if snapshot else ():
            if rule.state != State.CLEAR.value:
                detail = f"from {before.value}, while {rule.rule} says {rule.state}"
                yield Violation("j", "rule", now_s, detail)
