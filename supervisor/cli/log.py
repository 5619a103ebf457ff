"""The daemon's log, from a thread of its own: a reader that stalls must not stall the loop."""

import logging
import queue
import threading
from logging.handlers import QueueHandler

WAITING = 1000  # records; more are dropped while nobody reads
LAST_WORDS_S = 1.0


class _Dropping(QueueHandler):
    """Drops a record when the queue is full, rather than tell about it."""

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802  # logging's name
        """The queue is full: nobody reads the log, and the loop has better things to do."""


class BackgroundLog:
    """Log to stderr through a queue. ``close`` waits a moment for the last words, not for ever."""

    def __init__(self) -> None:
        self._records: queue.Queue[logging.LogRecord | None] = queue.Queue(WAITING)
        self._stream = logging.StreamHandler()
        self._stream.setFormatter(logging.Formatter("%(levelname)s %(name)s: %(message)s"))
        self._thread = threading.Thread(target=self._write, name="log", daemon=True)
        self._thread.start()
        root = logging.getLogger()
        root.setLevel(logging.INFO)
        root.addHandler(_Dropping(self._records))

    def close(self) -> None:
        try:
            self._records.put_nowait(None)
        except queue.Full:
            return
        self._thread.join(LAST_WORDS_S)

    def _write(self) -> None:
        while (record := self._records.get()) is not None:
            self._stream.handle(record)
