"""The machine's own clock, and alarms that ring whatever the loop is doing."""

import logging
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime

log = logging.getLogger(__name__)
TRY_AGAIN_AFTER_S = 0.01


class MonotonicClock:
    """Clock on CLOCK_MONOTONIC: unmoved by time sync, the same in every process."""

    def now_s(self) -> float:
        return time.monotonic()

    def sleep_until(self, at_s: float) -> None:
        left_s = at_s - time.monotonic()
        if left_s > 0:
            time.sleep(left_s)

    def wall(self) -> datetime:
        return datetime.now(UTC)

    def alarm(self, act: Callable[[], None]) -> "ThreadAlarm":
        return ThreadAlarm(act)


class ThreadAlarm:
    """Runs ``act`` in a thread of its own once the set time has passed.

    Setting a later time costs no wake-up of the thread: it looks again when the old time comes.
    An act that fails is tried again until it succeeds.
    """

    def __init__(self, act: Callable[[], None]) -> None:
        self._act = act
        self._at_s: float | None = None
        self._wakes_at_s: float | None = None
        self._closed = False
        self._changed = threading.Condition()
        self._thread = threading.Thread(target=self._run, name="lease alarm", daemon=True)
        self._thread.start()

    def set(self, at_s: float) -> None:
        """Raises RuntimeError when the thread is gone: nothing may rely on it then."""
        if not self._thread.is_alive():
            raise RuntimeError("the lease alarm is not running")
        with self._changed:
            self._at_s = at_s
            if self._wakes_at_s is None or at_s < self._wakes_at_s:
                self._changed.notify()

    def cancel(self) -> None:
        with self._changed:
            self._at_s = None

    def close(self) -> None:
        with self._changed:
            self._closed = True
            self._at_s = None
            self._changed.notify()
        self._thread.join()

    def _run(self) -> None:
        while self._wait_for_due():
            try:
                self._act()
            except Exception:  # whatever it was, the coil may still be on
                log.critical("the lease alarm failed", exc_info=True)
                with self._changed:
                    self._at_s = time.monotonic() + TRY_AGAIN_AFTER_S

    def _wait_for_due(self) -> bool:
        """True when the alarm is due, False when it is closed."""
        with self._changed:
            while not self._closed:
                if self._at_s is not None and time.monotonic() >= self._at_s:
                    self._at_s = None
                    return True
                self._wakes_at_s = self._at_s
                left_s = None if self._at_s is None else self._at_s - time.monotonic()
                self._changed.wait(left_s)
            return False
