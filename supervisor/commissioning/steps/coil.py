"""The coil by itself, as the driver drives it: no rule, no lease, and nothing in the contacts."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from supervisor.commissioning.deeds import CLOSED_BY_OHMMETER, DidIt
from supervisor.commissioning.meanwhile import meanwhile
from supervisor.commissioning.person import CLOSES
from supervisor.commissioning.steps.step import Bench
from supervisor.devices.contactor import AuxiliaryContact, Drive, build_drive

LOOK_EVERY_S = 0.0005
SETTLE_S = 1.0
LONGEST_S = 5.0


@dataclass(frozen=True, slots=True)
class Opened:
    """Whether the contact is open, and after how long; None where nobody can tell."""

    is_open: bool
    after_s: float | None


class CoilOnBench:
    """Told by ``hold`` and ``drop``; seen by the auxiliary contact, or by the person."""

    def __init__(self, bench: Bench, drive: Drive, auxiliary: AuxiliaryContact | None) -> None:
        self._bench = bench
        self._clock = bench.leaves.clock
        self._drive = drive
        self._auxiliary = auxiliary
        self._is_announced = False
        self.fed_at_s = self._clock.now_s()
        """When the driver was fed last: from then on it holds for its time."""

    def hold(self, seconds: float = SETTLE_S) -> None:
        """Closed for so long, fed at the daemon's pace; a person is told before the first time."""
        if not self._is_announced:
            self._bench.person.tells(f"{CLOSES} It may close again until this step is over.")
            self._is_announced = True
        until_s = self._clock.now_s() + seconds
        while self._clock.now_s() < until_s:
            before_s = self._clock.now_s()
            if self._drive.hold():
                self.fed_at_s = before_s
            self._clock.sleep_until(before_s + self._bench.settings.loop.cycle_s)

    def leave_high(self) -> None:
        """Fed once more and then no longer, the pin at the level that fed it."""
        beat_s = self._bench.settings.loop.cycle_s
        for _ in range(2):  # of a pulse driver every second edge falls, and feeds nothing
            self.fed_at_s = self._clock.now_s()
            if self._drive.hold():
                return
            self._clock.sleep_until(self.fed_at_s + beat_s)

    def drop(self) -> None:
        """A driver that is held by a level is fed until now."""
        if self._bench.settings.contactor.drive == "level":
            self.fed_at_s = self._clock.now_s()
        self._drive.drop()

    def rest(self, seconds: float = SETTLE_S) -> None:
        self._clock.sleep_until(self._clock.now_s() + seconds)

    def is_closed(self, *, held: bool = False) -> bool:
        """The main contact, as far as can be seen from here; ``held``: goes on holding it while a
        person looks."""
        if self._auxiliary:
            return self._auxiliary.main_contact_closed()
        return self.is_seen(DidIt("contactor", "Is the contactor pulled in now?"), held=held)

    def is_seen(self, question: DidIt, *, held: bool = False) -> bool:
        """By the person."""
        beat_s = self._bench.settings.loop.cycle_s
        goes_on = (lambda: self.hold(beat_s)) if held else (lambda: self.rest(beat_s))
        return meanwhile(self._bench.leaves, lambda: self._bench.person.saw(question), goes_on)

    def opens(self, within_s: float = LONGEST_S) -> Opened:
        """From what fed it last."""
        return _opens(self._bench, self._auxiliary, self.fed_at_s, within_s)


def opens_by_itself(bench: Bench, since_s: float, within_s: float) -> Opened:
    """With nobody driving it."""
    fitted = bench.settings.contactor.auxiliary
    auxiliary = AuxiliaryContact(fitted, bench.leaves.pin_factory) if fitted else None
    try:
        return _opens(bench, auxiliary, since_s, within_s)
    finally:
        if auxiliary:
            auxiliary.close()


def _opens(
    bench: Bench, auxiliary: AuxiliaryContact | None, since_s: float, within_s: float
) -> Opened:
    """Looks twice a millisecond. Without an auxiliary contact the person is asked when the time is
    over, with an ohmmeter: then nobody has measured how long it took."""
    clock = bench.leaves.clock
    if auxiliary is None:
        clock.sleep_until(since_s + within_s)
        return Opened(not bench.person.saw(CLOSED_BY_OHMMETER), None)
    while auxiliary.main_contact_closed():
        if clock.now_s() > since_s + within_s:
            return Opened(False, None)
        clock.sleep_until(clock.now_s() + LOOK_EVERY_S)
    return Opened(True, clock.now_s() - since_s)


@contextmanager
def coil(bench: Bench) -> Iterator[CoilOnBench]:
    """The pins are claimed within it; dropped and released after it."""
    pin_factory = bench.leaves.pin_factory
    settings = bench.settings.contactor
    drive = build_drive(settings, pin_factory)
    try:
        fitted = settings.auxiliary
        auxiliary = AuxiliaryContact(fitted, pin_factory) if fitted else None
        try:
            yield CoilOnBench(bench, drive, auxiliary)
        finally:
            if auxiliary:
                auxiliary.close()
    finally:
        drive.close()
