"""What may be held up by strangers, in a thread of its own beside the loop.

A descriptor that was sent along with a line is closed by whoever reads that line or hangs up on
it, and its sender says how long that takes (``SO_LINGER``, socket(7)): hours. So no call on such a
socket is safe for the loop, non-blocking or not.
"""

import threading
from collections import deque
from typing import Generic, Protocol, TypeVar

BEAT_S = 0.01  # a crowd there gets no more of the processor than this leaves
IDLE_S = 0.1  # the longest rest while nobody is there
FAREWELL_S = 0.5

Item = TypeVar("Item")


class Served(Protocol[Item]):
    """Serves strangers. Nothing here raises, and all of it runs in the thread alone."""

    def rest(self, at_most_s: float) -> None:
        """Return when there is something to do, or after so long."""
        ...

    def take(self) -> list[Item]: ...

    def close(self) -> None: ...


class Aside(Generic[Item]):
    """Takes once a beat at most, and only while fewer than ``most`` items wait."""

    def __init__(self, name: str, served: Served[Item], most: int) -> None:
        self._served, self._most = served, most
        self._waiting: deque[Item] = deque()
        self._ends = threading.Event()
        self._thread = threading.Thread(target=self._live, name=name, daemon=True)
        self._thread.start()

    def take(self) -> list[Item]:
        """What has come in, ``most`` at once. Never blocks."""
        return [self._waiting.popleft() for _ in range(min(len(self._waiting), self._most))]

    def close(self) -> None:
        """Does not wait for a thread that is held up: it ends with the process."""
        self._ends.set()
        self._thread.join(FAREWELL_S)

    def _live(self) -> None:
        while not self._ends.wait(BEAT_S):
            self._served.rest(IDLE_S)
            if len(self._waiting) < self._most:
                self._waiting.extend(self._served.take())
        self._served.close()
