"""How many wrong tokens are listened to: few a minute, of one address and of all together.

Whoever has sent none is always listened to, so that strangers cannot lock out who knows the token.
"""

import math
from collections import deque
from collections.abc import Callable

WITHIN_S = 60.0
MOST_OF_ONE = 5
MOST_OF_ALL = 20
REMEMBERED = 4096


class WrongTokens:
    """Of the last minute, by ``now_s``."""

    def __init__(self, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._wrong: deque[tuple[float, str]] = deque(maxlen=REMEMBERED)

    def note(self, address: str) -> None:
        self._wrong.append((self._now_s(), address))

    def wait_s(self, address: str) -> int:
        """Whole seconds until this address is listened to; 0: it is."""
        own = self._times_s(address)
        if own and (wait_s := self._until(self._times_s(None), MOST_OF_ALL)):
            return wait_s
        return self._until(own, MOST_OF_ONE)

    def wait_of_all_s(self) -> int:
        """The same for somebody whose token has just proved wrong."""
        return self._until(self._times_s(None), MOST_OF_ALL)

    def _times_s(self, address: str | None) -> list[float]:
        while self._wrong and self._wrong[0][0] <= self._now_s() - WITHIN_S:
            self._wrong.popleft()
        return [at_s for at_s, whose in self._wrong if address in (None, whose)]

    def _until(self, times_s: list[float], most: int) -> int:
        if len(times_s) < most:
            return 0
        return max(1, math.ceil(times_s[-most] + WITHIN_S - self._now_s()))
