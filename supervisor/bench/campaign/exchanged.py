"""Invariant l: other settings come into force with the circuit open, and no pulse to come."""

from collections.abc import Iterator

from supervisor.bench.campaign.daemon import Daemon
from supervisor.bench.campaign.violation import Violation
from supervisor.snapshot import Circuit

ON = (Circuit.CLOSED.value, Circuit.PAUSED.value)


class Exchanged:
    """``look`` after each cycle. Every change of the circuit is published: two words of it that
    follow each other, both of a charge, are of one charge."""

    def __init__(self, daemon: Daemon) -> None:
        self._daemon = daemon
        self._before = daemon.snapshot()

    def look(self, now_s: float) -> Iterator[Violation]:
        before, self._before = self._before, self._daemon.snapshot()
        if before is None or self._before is None or before.profile == self._before.profile:
            return
        if before.circuit in ON and self._before.circuit in ON:
            detail = f"{before.circuit}, and {self._before.profile} is in force"
            yield Violation("l", "rule", now_s, detail)
