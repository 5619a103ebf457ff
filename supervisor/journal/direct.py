"""A journal for a simulation faster than real time: written in the caller's own time, no thread."""

from pathlib import Path

from supervisor.journal.going_on import counted_before
from supervisor.journal.health import Health
from supervisor.journal.records import Record
from supervisor.journal.schema import FILE_NAME
from supervisor.journal.store import Store

AT_ONCE = 1000


class DirectJournal:
    """Loses nothing, however fast the records come."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE_NAME
        self._store = Store(self.path)
        self._store.connect()
        self._waiting: list[Record] = []
        self.health = Health()

    def put(self, record: Record) -> None:
        self._waiting.append(record)
        if len(self._waiting) >= AT_ONCE:
            self.write()

    def counted(self) -> str:
        return counted_before(self.path)

    def write(self, *, flush: bool = False) -> None:
        self._store.write(self._waiting, flush=flush)
        self.health.written += len(self._waiting)
        self.health.session = self._store.session
        self._waiting.clear()

    def close(self) -> None:
        self.write(flush=True)
