"""The wall clock, by which nothing is timed here and everything is dated."""

from collections.abc import Iterator

from supervisor.host.check_answer import Answer, good, note
from supervisor.host.check_host import Host

SIGN = "/run/systemd/timesync/synchronized"


def synchronised(host: Host) -> Iterator[Answer]:
    has_own = bool(host.machine.found("/dev/rtc*"))
    if host.machine.there(SIGN) or host.kernel.is_synchronised():
        own = "" if has_own else "; it has no clock of its own, so after a power cut only then"
        yield good(f"the clock is set by the network{own}")
    else:
        yield note(
            "nobody sets the clock"
            + ("" if has_own else ", and the machine has none that outlives a power cut"),
            "Only the dates in the record, in reports and messages may be wrong: every limit "
            "counts on another clock.",
            "Join a network with a time server (timedatectl), or fit a battery-backed clock.",
        )


CHECKS = {"synchronised": synchronised}
