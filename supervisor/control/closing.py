"""A request to close: from being asked until it is closed, or refused."""

from collections.abc import Callable

from supervisor.control.lockout import LockoutKeeper
from supervisor.devices.protocols import Clock

PATIENCE_S = 1.0
NOT_WRITTEN = "the lockout file cannot be written"

Answer = Callable[[bool, str], None]
WhyNot = Callable[[], str]


class Closing:
    """Arms the latch, waits for a later cycle's fresh readings, answers. One at a time.

    The latch is armed before anything closes, so that an end without a word is found locked out.
    A request that comes to nothing leaves the latch as it found it.
    """

    def __init__(self, keeper: LockoutKeeper, clock: Clock) -> None:
        self._keeper = keeper
        self._clock = clock
        self._asked: tuple[str, Answer, WhyNot] | None = None
        self._until_s = 0.0
        self._was_armed = False  # before: an opening was never seen, and that still stands

    @property
    def waits(self) -> bool:
        return self._asked is not None

    @property
    def is_over(self) -> bool:
        """Nobody waits so long."""
        return self._clock.now_s() > self._until_s

    @property
    def why_no_longer(self) -> str:
        """Why it may not come of it any more: nobody stands by, as arming may take long; or what it
        was armed by may not be what the disk says. Empty while it may."""
        if self._asked and self._keeper.keep_waits:
            return NOT_WRITTEN
        return self._asked[2]() if self._asked else ""

    def begin(self, who: str, answer: Answer, why_no_longer: WhyNot) -> None:
        self._was_armed = self._keeper.is_armed
        if not self._keeper.arm():
            answer(False, f"not closed: {NOT_WRITTEN}")
            return
        self._asked = (who, answer, why_no_longer)
        self._until_s = self._clock.now_s() + PATIENCE_S

    def done(self) -> str:
        """It is closed. Returns who asked for it."""
        assert self._asked
        who, answer, _ = self._asked
        self._asked = None
        answer(True, "the contactor is told to close")
        return who

    def abandon(self, why: str) -> None:
        """If one waits."""
        if self._asked:
            _, answer, _ = self._asked
            self._asked = None
            if not self._was_armed:
                self._keeper.disarm("not closed after all")
            answer(False, f"not closed: {why}")
