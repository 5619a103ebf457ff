"""The daemon's own loop on the bench, with the contactor's coil: driven until it trips."""

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from supervisor.commissioning.leaves import Leaves
from supervisor.commissioning.meanwhile import Result, meanwhile
from supervisor.commissioning.measuring import CannotTell
from supervisor.commissioning.person import CLOSES
from supervisor.control.assemble import assemble
from supervisor.control.latch import Lockout
from supervisor.control.loop import Loop
from supervisor.control.publisher import LastSnapshot
from supervisor.control.requests import Mailbox
from supervisor.readings import Readings
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Circuit

ANSWER_WITHIN_S = 5.0
OPENED_WITHIN_S = 3.0
SETTLE_S = 12.0  # the longest that a rule needs to see calm: slopes, a shunt that reads zero

Look = Callable[[Readings], None]


@dataclass(frozen=True, slots=True)
class Tripped:
    """``coil_off_s``: when the coil was told to let go, on the bench's clock."""

    lockout: Lockout
    coil_off_s: float

    @property
    def rule(self) -> str:
        return self.lockout.tripped_by


class Trial:
    """A loop with the settings of the file, but that it may close without a record."""

    def __init__(
        self,
        settings: SupervisorSettings,
        leaves: Leaves,
        folder: Path,
        tells: Callable[[str], None] = lambda _text: None,
    ) -> None:
        """``tells``: a person, of what the contactor does."""
        self._tells = tells
        self._leaves, self._clock = leaves, leaves.clock
        self._hands = Mailbox()
        self.loop: Loop = assemble(
            settings.model_copy(
                update={
                    "uncommissioned": "accepted",
                    "uncommissioned_reason": "it is being commissioned",
                }
            ),
            clock=leaves.clock,
            open_bus=leaves.open_bus,
            pin_factory=leaves.pin_factory,
            state_dir=folder,
            inboxes=(self._hands,),
            publisher=LastSnapshot(),
            simulated=leaves.simulated,
            one_wire=leaves.one_wire,
        )

    def run(self, seconds: float, look: Look = lambda _: None) -> Tripped | None:
        """Cycle for so long, or until it trips; locked out before, for so long."""
        was_locked_out = self._is_locked_out
        until_s = self._clock.now_s() + seconds
        while self._clock.now_s() < until_s:
            self.loop.cycle()
            if self.loop.readings:
                look(self.loop.readings)
            if self._is_locked_out and not was_locked_out:
                return self._tripped()
        return None

    def while_(self, act: Callable[[], Result]) -> Result:
        """Cycle while hands are busy. Raises CannotTell when it trips before they are done."""
        was_locked_out = self._is_locked_out
        result = meanwhile(self._leaves, act, self.loop.cycle)
        if self._is_locked_out and not was_locked_out:
            tripped = self._tripped()
            raise CannotTell(f"while hands were busy: tripped by {tripped.rule}")
        return result

    def close(self) -> None:
        """Told to close, and closed. Raises CannotTell with the reason when it is refused."""
        self.run(SETTLE_S)
        self._tells(CLOSES)
        self._ask("close")

    def reset(self) -> None:
        """After a trip, with its cause gone. Raises CannotTell with the reason when refused."""
        self.run(SETTLE_S)
        self._ask("reset", "tried on the bench")

    def open(self) -> None:
        self._ask("open")
        self.run(OPENED_WITHIN_S)

    def end(self) -> None:
        """The coil off, and the pins given back."""
        self.loop.leave()
        self.loop.run()
        self.loop.close()

    @property
    def auxiliary_closed(self) -> bool | None:
        """What the auxiliary contact says of the main one; None without one."""
        return self.loop.readings.contactor.auxiliary_closed if self.loop.readings else None

    @property
    def _is_locked_out(self) -> bool:
        return self.loop.guard.circuit is Circuit.LOCKED_OUT

    def _ask(self, act: str, reason: str = "") -> None:
        before = len(self._hands.replies)
        self._hands.put(act, reason, who="commissioning")
        until_s = self._clock.now_s() + ANSWER_WITHIN_S
        while len(self._hands.replies) == before:
            if self._clock.now_s() > until_s:
                raise CannotTell(f"the loop did not answer to {act}")
            self.loop.cycle()
        reply = self._hands.replies[-1]
        if not reply.done:
            raise CannotTell(reply.message)

    def _tripped(self) -> Tripped:
        """With the opening followed to its end, for the time it took."""
        coil_off_s = self.loop.told_at_s
        lockout = self.loop.keeper.lockout
        assert lockout
        self._tells(f"TRIPPED by {lockout.tripped_by}: stop turning, and touch nothing.")
        until_s = self._clock.now_s() + OPENED_WITHIN_S
        while self._clock.now_s() < until_s and not self.loop.guard.is_open_for_good():
            self.loop.cycle()
        lockout = self.loop.keeper.lockout
        assert lockout
        return Tripped(lockout, coil_off_s)


@contextmanager
def trial(
    settings: SupervisorSettings, leaves: Leaves, tells: Callable[[str], None]
) -> Iterator[Trial]:
    """The loop is there within it, with a state folder of its own; the coil is off after it."""
    with tempfile.TemporaryDirectory(prefix="holdwatch-trial-") as folder:
        one = Trial(settings, leaves, Path(folder), tells)
        try:
            yield one
        finally:
            one.end()
