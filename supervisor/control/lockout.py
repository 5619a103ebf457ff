"""The lockout in force, and its copy on disk."""

from collections.abc import Callable
from dataclasses import replace

from supervisor.control.latch import Kept, Latch, Lockout
from supervisor.control.logbook import Logbook
from supervisor.control.lookback import Lookback
from supervisor.devices.protocols import Clock

STORE_AGAIN_AFTER_S = 1.0


class LockoutKeeper:
    """Keeps memory and disk in step. Memory decides; a disk that fails never unlocks anything.

    A write may take its time on a bad card, so it happens only while the circuit is open, as
    ``is_closed`` says; ``before_write`` lets systemd know, and ``after_write`` the loop begin its
    beat anew.
    """

    def __init__(
        self,
        latch: Latch,
        logbook: Logbook,
        clock: Clock,
        *,
        lookback: Lookback,
        to_keep: Callable[[], Kept],
        is_closed: Callable[[], bool],
        before_write: Callable[[], None],
        after_write: Callable[[], None],
    ) -> None:
        self._latch = latch
        self._logbook = logbook
        self._clock = clock
        self._lookback = lookback
        self._to_keep = to_keep
        self._is_closed = is_closed
        self._before_write = before_write
        self._after_write = after_write
        self._store_again_s = 0.0
        self._armed = False
        self.keep_waits = False
        """What is to be kept is not on the disk, and nobody knows by which arming that says it was
        closed last. So nothing may close before it is."""
        self.tried_to_store = True
        self.lockout = latch.read(logbook.wall())
        self.stored = self.lockout is not None
        if self.lockout:
            logbook.note(
                "locked_out_at_start",
                self.lockout.reason,
                ended_unseen=latch.was_armed,
                remedy=self.lockout.remedy,
            )

    @property
    def is_armed(self) -> bool:
        """Whether an end without a word would be found locked out."""
        return self._armed

    def arm(self) -> bool:
        """Before closing: from here on, an end without a word counts as a lockout."""
        written = self._write(lambda: self._latch.arm(self._logbook.wall(), self._to_keep()))
        self._armed |= written  # what was armed before stays so on the disk, if this fails
        self.keep_waits = not written  # as it was before, if this fails
        return written

    def disarm(self, why: str) -> None:
        """After a confirmed opening that was no trip."""
        if self._armed and not self.lockout:
            self._armed = False
            self.keep_waits = not self._clear(why)

    def keep(self, why: str) -> bool:
        """What must not be forgotten has changed while open: so it is to be after a restart. False
        when it is not on the disk yet."""
        if self.lockout:
            self.stored = False  # with the next try
            return True
        self.keep_waits = True
        if self._is_closed():  # by now; its arming is on the disk
            return False
        return self.arm() if self._armed else self._clear(why)

    def lock(self, lockout: Lockout) -> None:
        """In force at once, with what was measured before it; ``store`` puts it on disk."""
        self.lockout = replace(lockout, before=self._lookback.moments(self._clock.now_s()))
        self.stored = self.tried_to_store = False
        self._store_again_s = self._clock.now_s()

    def note_opening(self, opened_in_s: float | None, *, failed: bool) -> None:
        """Complete the story of a trip by how its opening went."""
        if self.lockout:
            failed = failed or self.lockout.failed_to_open
            self.lockout = replace(self.lockout, opened_in_s=opened_in_s, failed_to_open=failed)
            self.stored = False

    def store(self) -> None:
        """Bring the disk up to date; after a failure, try again a second later."""
        lockout = self.lockout
        if self._clock.now_s() < self._store_again_s:
            return
        if lockout is None and self.keep_waits:
            self.keep("tried again")
            self._store_again_s = self._clock.now_s() + STORE_AGAIN_AFTER_S
        if lockout is None or self.stored:
            return
        self.stored = self._write(lambda: self._latch.lock(lockout, self._to_keep()))
        self.tried_to_store = True
        self._store_again_s = self._clock.now_s() + STORE_AGAIN_AFTER_S

    def clear(self, why: str) -> bool:
        """A reset. False when the disk does not take it: then the lockout stays.

        And is stored again: nobody knows how much of the failed write is on the disk.
        """
        if not self._clear(why):
            self.stored = False
            return False
        self.lockout, self._armed, self.stored = None, False, False
        return True

    def crashed(self, error: BaseException) -> None:
        """The loop ends by an error: lock out, unless a trip tells more already."""
        if self.lockout is None and self._armed:
            reason = f"the loop ended by an error: {type(error).__name__}: {error}"
            remedy = "look at the bank, report the error, then reset"
            self.lock(Lockout("external", reason, remedy, self._logbook.wall()))
            self._logbook.alarm(
                "trip",
                f"external: {reason}",
                rule="external",
                measured=None,
                limit=None,
                unit="",
                remedy=remedy,
                was_closed=True,
                by_doubt=False,
            )
        self.store()

    def _clear(self, why: str) -> bool:
        return self._write(lambda: self._latch.clear(self._logbook.wall(), why, self._to_keep()))

    def _write(self, write: Callable[[], None]) -> bool:
        self._before_write()
        try:
            write()
        except OSError as error:
            self._logbook.alarm("latch_not_written", f"{self._latch.path}: {error}")
            return False
        finally:
            self._after_write()
        self.keep_waits = False  # every write has all of it
        return True
