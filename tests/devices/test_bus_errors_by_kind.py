"""Errors of the bus by kind, as the kernel tells them (Documentation/i2c/fault-codes.rst)."""

import errno

import pytest

from supervisor.devices.bus_keeper import BusCounters


@pytest.mark.parametrize(
    ("error", "no_answers", "timeouts"),
    [
        (OSError(errno.EREMOTEIO, "Remote I/O error"), 1, 0),
        (OSError(errno.ENXIO, "No such device or address"), 1, 0),
        (OSError(errno.ETIMEDOUT, "Connection timed out"), 0, 1),
        (OSError(errno.EIO, "Input/output error"), 0, 0),
        (OSError("bus closed after errors"), 0, 0),
        (ValueError("no such register"), 0, 0),
    ],
)
def test_each_counts_once_and_some_by_kind(
    error: Exception, no_answers: int, timeouts: int
) -> None:
    counters = BusCounters()
    counters.failed(error)
    assert (counters.errors, counters.no_answers, counters.timeouts) == (1, no_answers, timeouts)
