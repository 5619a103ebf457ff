"""The coil by itself, as the driver drives it: no rule, no lease, and nothing in the contacts."""

from collections.abc import Iterator
from contextlib import contextmanager

from supervisor.commissioning.deeds import DidIt
from supervisor.commissioning.meanwhile import meanwhile
from supervisor.commissioning.steps.step import Bench
from supervisor.devices.contactor import AuxiliaryContact, Drive, build_drive

LOOK_EVERY_S = 0.0005
SETTLE_S = 1.0
LONGEST_S = 5.0


class CoilOnBench:
    """Told by ``hold`` and ``drop``; seen by the auxiliary contact, or by the person."""

    def __init__(self, bench: Bench, drive: Drive, auxiliary: AuxiliaryContact | None) -> None:
        self._bench = bench
        self._clock = bench.leaves.clock
        self._drive = drive
        self._auxiliary = auxiliary
        self.fed_at_s = self._clock.now_s()
        """When the driver was fed last: from then on it holds for its time."""

    def hold(self, seconds: float = SETTLE_S) -> None:
        """Closed for so long, fed at the daemon's pace."""
        until_s = self._clock.now_s() + seconds
        while self._clock.now_s() < until_s:
            before_s = self._clock.now_s()
            if self._drive.hold():
                self.fed_at_s = before_s
            self._clock.sleep_until(before_s + self._bench.settings.loop.cycle_s)

    def drop(self) -> None:
        self._drive.drop()

    def rest(self, seconds: float = SETTLE_S) -> None:
        self._clock.sleep_until(self._clock.now_s() + seconds)

    def is_closed(self, *, held: bool = False) -> bool:
        """The main contact, as far as can be seen from here; ``held``: goes on holding it while a
        person looks."""
        if self._auxiliary:
            return self._auxiliary.main_contact_closed()
        asked = DidIt("contactor", "Is the contactor pulled in now?")
        beat_s = self._bench.settings.loop.cycle_s
        goes_on = (lambda: self.hold(beat_s)) if held else (lambda: self.rest(beat_s))
        return meanwhile(self._bench.leaves, lambda: self._bench.person.saw(asked), goes_on)

    def open_after_s(self) -> float | None:
        """Seconds from what fed it last until the auxiliary contact says open; None: not within
        ``LONGEST_S``. Looks twice a millisecond."""
        assert self._auxiliary
        until_s = self._clock.now_s() + LONGEST_S
        while self._auxiliary.main_contact_closed():
            if self._clock.now_s() > until_s:
                return None
            self._clock.sleep_until(self._clock.now_s() + LOOK_EVERY_S)
        return self._clock.now_s() - self.fed_at_s


def seen_open_s(bench: Bench, since_s: float, within_s: float) -> float | None:
    """Seconds until the contact is open, with nobody driving it; None: not within the time.

    Without an auxiliary contact the person is asked after that time, and a yes counts as at once.
    """
    fitted, clock = bench.settings.contactor.auxiliary, bench.leaves.clock
    if fitted is None:
        clock.sleep_until(since_s + within_s)
        asked = DidIt("contactor", "Has the contactor let go by itself?")
        return 0.0 if bench.person.saw(asked) else None
    auxiliary = AuxiliaryContact(fitted, bench.leaves.pin_factory)
    try:
        while auxiliary.main_contact_closed():
            if clock.now_s() > since_s + within_s:
                return None
            clock.sleep_until(clock.now_s() + LOOK_EVERY_S)
    finally:
        auxiliary.close()
    return clock.now_s() - since_s


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
