"""Memory of the daemon: never paged out, and not searched for garbage all over again."""

import ctypes
import gc
import logging
import os
import resource

log = logging.getLogger(__name__)

# sys/mman.h of Linux, alike on ARM and x86. On fault: only what has been touched, so the stacks
# reserved for threads take no memory.
MCL_CURRENT, MCL_FUTURE, MCL_ONFAULT = 1, 2, 4


def lock_in_memory() -> None:
    """Lock what this process has and gets. A cycle that waits for the card is a late cycle.

    Where that is not permitted it is told in the log, and the daemon runs on.
    """
    try:
        _lift_limit()
        libc = ctypes.CDLL(None, use_errno=True)
        if libc.mlockall(MCL_CURRENT | MCL_FUTURE | MCL_ONFAULT) != 0:
            raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()))
    except (OSError, ValueError) as error:
        log.warning(
            "memory is not locked (%s): on a machine that swaps, cycles may be late; the unit "
            "holdwatch@.service permits it (LimitMEMLOCK)",
            error,
        )


def _lift_limit() -> None:
    """With a limit, a lock that succeeds now would make a later allocation fail."""
    most = resource.RLIM_INFINITY
    resource.setrlimit(resource.RLIMIT_MEMLOCK, (most, most))


def freeze() -> None:
    """What is there at the start stays: the collector of the cycles to come need not look at it."""
    gc.collect()
    gc.freeze()
