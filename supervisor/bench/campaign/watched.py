"""All that is judged by the daemon's word and its file."""

from collections.abc import Iterator
from itertools import chain

from supervisor.bench.campaign.closing import Closing
from supervisor.bench.campaign.daemon import Daemon
from supervisor.bench.campaign.exchanged import Exchanged
from supervisor.bench.campaign.latched import Latched
from supervisor.bench.campaign.violation import Violation
from supervisor.snapshot import Circuit


class Watched:
    """``look`` after each cycle."""

    def __init__(self, daemon: Daemon) -> None:
        self._daemon = daemon
        self._loop = daemon.loop()
        self._closing, self._exchanged = Closing(daemon), Exchanged(daemon)
        self.latched = Latched(daemon)

    def look(self, now_s: float) -> Iterator[Violation]:
        judges = (self._closing, self._exchanged, self.latched)
        return chain.from_iterable(judge.look(now_s) for judge in judges)

    @property
    def is_finished(self) -> bool:
        return self._daemon.circuit is Circuit.FINISHED

    @property
    def profile(self) -> str | None:
        """The one in force; a closing is published at once, and so what it was closed by."""
        snapshot = self._daemon.snapshot()
        return snapshot.profile if snapshot else None

    def was_started_anew(self) -> bool:
        """Since the last time somebody asked."""
        before, self._loop = self._loop, self._daemon.loop()
        return self._loop is not before
