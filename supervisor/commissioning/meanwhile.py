"""Hands take their time, and what holds the contactor has to go on meanwhile."""

import threading
from collections.abc import Callable
from typing import Generic, TypeVar

from supervisor.commissioning.leaves import Leaves
from supervisor.commissioning.person import Left

HANDS_TAKE_S = 3.0  # simulated ones
Result = TypeVar("Result")


def meanwhile(leaves: Leaves, act: Callable[[], Result], goes_on: Callable[[], None]) -> Result:
    """What ``act`` returns or raises; ``goes_on``, one beat of it, is called until it has ended.

    At a real build a person answers in a thread beside; simulated hands act at once, after a while.
    Raises Left when that is interrupted by the keyboard.
    """
    if leaves.simulated:
        until_s = leaves.clock.now_s() + HANDS_TAKE_S
        while leaves.clock.now_s() < until_s:
            goes_on()
        return act()
    beside = _Beside(act)
    try:
        while beside.is_alive:
            goes_on()
    except KeyboardInterrupt:
        raise Left from None
    return beside.result()


class _Beside(Generic[Result]):
    """Its thread ends with the process: one that waits for a key cannot be ended."""

    def __init__(self, act: Callable[[], Result]) -> None:
        self._act = act
        self._result: list[Result] = []
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._live, name="person", daemon=True)
        self._thread.start()

    @property
    def is_alive(self) -> bool:
        return self._thread.is_alive()

    def result(self) -> Result:
        if self._error is not None:
            raise self._error
        return self._result[0]

    def _live(self) -> None:
        try:
            self._result.append(self._act())
        except BaseException as error:  # told where it is waited for
            self._error = error
