"""What happened, newest last: for the status file and the log. Codes are stable, texts are not."""

import logging
from collections import deque
from collections.abc import Callable, Mapping

from supervisor.devices.protocols import Clock
from supervisor.journal.records import Value
from supervisor.snapshot import EventView

log = logging.getLogger(__name__)
KEPT = 30


class Logbook:
    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self.tell: Callable[[str, str, Mapping[str, Value]], None] | None = None  # the journal
        self._events: deque[EventView] = deque(maxlen=KEPT)

    def wall(self) -> str:
        """Now, in UTC, ISO 8601."""
        return self._clock.wall().isoformat(timespec="milliseconds")

    def note(self, code: str, text: str, **data: Value) -> None:
        """``data``: the numbers behind the text, in units that their names say."""
        self._keep(code, text, data)
        log.info("%s", text)

    def alarm(self, code: str, text: str, **data: Value) -> None:
        self._keep(code, text, data)
        log.warning("%s: %s", code, text)

    def _keep(self, code: str, text: str, data: Mapping[str, Value]) -> None:
        self._events.append(EventView(self.wall(), code, text))
        if self.tell:
            self.tell(code, text, data)

    def events(self) -> tuple[EventView, ...]:
        return tuple(self._events)
