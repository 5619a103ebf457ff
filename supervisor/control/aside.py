"""What may be held up by strangers, in a thread of its own beside the loop.

A descriptor that was sent along with a line is closed by whoever reads that line or hangs up on
it, and its sender says how long that takes (``SO_LINGER``, socket(7)): hours. So no call on such a
socket is safe for the loop, non-blocking or not.
"""

import logging
import threading
import time
from collections import deque
from collections.abc import Callable
from typing import Generic, Protocol, TypeVar

BEAT_S = 0.01  # a crowd there gets no more of the processor than this leaves
IDLE_S = 0.1  # the longest rest while nobody is there
AGAIN_AFTER_S = 0.2  # after an error: one that stays fills no disk with its story
FAREWELL_S = 0.5
HANGS_AFTER_S = 2.0  # without a beat
HANGS_AFTER_TAKES = 50  # without one: where all stood still, nobody knows yet who hangs

log = logging.getLogger(__name__)
Item = TypeVar("Item")


class Served(Protocol[Item]):
    """Serves strangers. All of it runs in the thread alone."""

    def rest(self, at_most_s: float) -> None:
        """Return when there is something to do, or after so long."""
        ...

    def take(self, most: int, most_urgent: int) -> list[Item]:
        """Look after everybody, and hand on so many at most: urgent ones, and others."""
        ...

    def start_again(self) -> None:
        """After whatever was raised here."""
        ...

    def close(self) -> None: ...


class Aside(Generic[Item]):
    """Looks once a beat at most. ``most_in_all`` items wait for the loop, the urgent ones among
    them; of all others ``most``. Whoever there is no room for is left where he is."""

    def __init__(
        self,
        name: str,
        served: Served[Item],
        most: int,
        most_in_all: int,
        now_s: Callable[[], float] = time.monotonic,  # what holds a thread up is never simulated
    ) -> None:
        self._served, self._most, self._most_in_all = served, most, most_in_all
        self._now_s = now_s
        self._beat_at_s, self._takes_since = now_s(), 0
        self._waiting: deque[Item] = deque()
        self._ends = threading.Event()
        self._thread = threading.Thread(target=self._live, name=name, daemon=True)
        self._thread.start()

    @property
    def is_served(self) -> bool:
        """Whether anybody is heard here: the thread is there, and hangs in no call."""
        age_s = self._now_s() - self._beat_at_s
        hangs = age_s > HANGS_AFTER_S and self._takes_since > HANGS_AFTER_TAKES
        return self._ends.is_set() or (self._thread.is_alive() and not hangs)

    def take(self) -> list[Item]:
        """What has come in. Never blocks."""
        self._takes_since += 1
        return [self._waiting.popleft() for _ in range(len(self._waiting))]

    def close(self) -> None:
        """Does not wait for a thread that is held up: it ends with the process."""
        self._ends.set()
        self._thread.join(FAREWELL_S)

    def _live(self) -> None:
        is_broken = False
        while not self._ends.wait(AGAIN_AFTER_S if is_broken else BEAT_S):
            self._beat_at_s, self._takes_since = self._now_s(), 0
            try:
                if is_broken:
                    self._served.start_again()
                    is_broken = False
                self._served.rest(IDLE_S)
                waiting = len(self._waiting)
                room = max(0, self._most - waiting)
                self._waiting.extend(self._served.take(room, self._most_in_all - waiting - room))
            except Exception:  # it serves everybody else, who may want to open
                is_broken = True
                log.exception("%s: all who are connected are dropped", self._thread.name)
        self._served.close()
