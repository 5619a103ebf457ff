"""The one owner of the I2C bus: opens it, counts what fails, opens it anew."""

import errno
import logging
from collections.abc import Callable
from dataclasses import dataclass

from supervisor.devices.errors import HardwareMissing
from supervisor.devices.protocols import Clock, I2CBus

log = logging.getLogger(__name__)

FAILURES_BEFORE_REOPENING = 3  # in a row
REOPEN_EVERY_S = 0.1
NO_ANSWER = (errno.ENXIO, errno.EREMOTEIO)


@dataclass(slots=True)
class BusCounters:
    """Totals since the start, for metrics."""

    conversions: int = 0
    errors: int = 0
    no_answers: int = 0
    timeouts: int = 0
    retries: int = 0
    reopenings: int = 0

    def failed(self, error: Exception) -> None:
        """Kinds by errno, as the kernel's Documentation/i2c/fault-codes.rst has them."""
        number = getattr(error, "errno", None)
        self.errors += 1
        self.no_answers += number in NO_ANSWER
        self.timeouts += number == errno.ETIMEDOUT


class BusKeeper:
    """Everybody on the bus asks here for it, each time, and says how it went.

    ``generation`` rises whenever the bus is closed: what was known of a chip is then in doubt.
    """

    def __init__(self, open_bus: Callable[[], I2CBus], clock: Clock, deadline_s: float) -> None:
        self._open_bus = open_bus
        self._clock = clock
        self._deadline_s = deadline_s
        self._bus: I2CBus | None = None
        self._failures_in_a_row = 0
        self._hung_before = False
        self._reopen_at_s = clock.now_s()
        self.generation = 0
        self.counters = BusCounters()

    @property
    def is_open(self) -> bool:
        return self._bus is not None

    def bus(self) -> I2CBus:
        """The bus, opened if need be. Raises OSError while it cannot be had."""
        if self._bus is None:
            if self._clock.now_s() < self._reopen_at_s:
                raise OSError("bus closed after errors, to be opened again")
            self._reopen_at_s = self._clock.now_s() + REOPEN_EVERY_S
            try:
                self._bus = self._open_bus()
            except HardwareMissing as missing:
                raise OSError(str(missing)) from missing
        return self._bus

    def hung(self, began_s: float) -> bool:
        """Whether what began then has lasted longer than a transfer may."""
        return self._clock.now_s() - began_s > self._deadline_s

    def worked(self) -> None:
        self._failures_in_a_row = 0
        self._hung_before = False

    def failed(self, began_s: float) -> None:
        """Close a bus that fails again and again, or that hung: one hang a scan is enough.

        After one hang it may be opened at once; after a second one it is given a rest.
        """
        hung = self.hung(began_s)
        rests = hung and self._hung_before
        self._hung_before = hung
        self._failures_in_a_row += 1
        enough = hung or self._failures_in_a_row >= FAILURES_BEFORE_REOPENING
        if enough and self._bus is not None:
            self._failures_in_a_row = 0
            self._reopen_at_s = max(self._reopen_at_s, self._clock.now_s() + REOPEN_EVERY_S * rests)
            self.counters.reopenings += 1
            self.close()

    def close(self) -> None:
        if self._bus is None:
            return
        try:
            self._bus.close()
        except OSError as error:
            log.warning("closing the bus: %s", error)
        self._bus = None
        self.generation += 1
