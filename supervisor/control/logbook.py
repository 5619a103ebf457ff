"""What happened, newest last: for the status file and the log. Codes are stable, texts are not."""

import logging
from collections import deque

from supervisor.devices.protocols import Clock
from supervisor.snapshot import EventView

log = logging.getLogger(__name__)
KEPT = 30


class Logbook:
    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._events: deque[EventView] = deque(maxlen=KEPT)

    def wall(self) -> str:
        """Now, in UTC, ISO 8601."""
        return self._clock.wall().isoformat(timespec="milliseconds")

    def note(self, code: str, text: str) -> None:
        self._events.append(EventView(self.wall(), code, text))
        log.info("%s", text)

    def alarm(self, code: str, text: str) -> None:
        self._events.append(EventView(self.wall(), code, text))
        log.warning("%s: %s", code, text)

    def events(self) -> tuple[EventView, ...]:
        return tuple(self._events)
