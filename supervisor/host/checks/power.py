"""The machine's own supply and its heat, as its firmware tells them."""

from collections.abc import Iterator
from pathlib import Path

from supervisor.host.check_answer import Answer, cannot_tell, fault, good, note, warning
from supervisor.host.check_host import Host

FLAGS = "/sys/devices/platform/soc*/soc*:firmware/get_throttled"
# Bits of the firmware's answer, and of the same since power-on (Raspberry Pi documentation of
# get_throttled, memory).
TOO_LITTLE_VOLTAGE, CAPPED, THROTTLED, WARM = 1 << 0, 1 << 1, 1 << 2, 1 << 3
SINCE_START = 16
# The firmware slows the processor from 80 °C on (Raspberry Pi documentation, memory).
SLOWED_ABOVE_C, WARM_ABOVE_C = 80.0, 70.0
SUPPLY = (
    "Fit a supply and a short, thick cable for this board, and feed the coil from another; see "
    "whether it comes as the coil pulls in."
)


def voltage(host: Host) -> Iterator[Answer]:
    flags = _flags(host)
    if flags is None:
        yield _untold(host, "whether the supply of this machine sags")
    elif flags & TOO_LITTLE_VOLTAGE:
        yield fault(
            "the supply of this machine is too low now (less than about 4.6 V)",
            "It may stop or start anew at any moment, also in mid-charge.",
            SUPPLY,
        )
    elif flags >> SINCE_START & TOO_LITTLE_VOLTAGE:
        yield warning(
            "the supply of this machine was too low since it started",
            "Next time it may start anew in mid-charge: locked out, and a night lost.",
            SUPPLY,
        )
    else:
        yield good("its supply has held since it started")


def slowed(host: Host) -> Iterator[Answer]:
    flags = _flags(host)
    kinds = CAPPED | THROTTLED | WARM
    if flags is None:
        yield _untold(host, "whether the processor is slowed")
    elif flags & kinds or flags >> SINCE_START & kinds:
        when = "is being" if flags & kinds else "was, since the start,"
        yield warning(
            f"the processor {when} slowed, for heat or low voltage ({flags:#x})",
            "Slower than it was tried: the loop may be late, and open.",
            "Let air to it, fit a heat sink, and see to its supply.",
        )
    else:
        yield good("the processor was never slowed since it started")


def temperature(host: Host) -> Iterator[Answer]:
    celsius = _celsius(host)
    if celsius is None:
        yield cannot_tell("how hot the processor is: the kernel does not say")
    elif celsius >= SLOWED_ABOVE_C:
        yield warning(
            f"the processor is at {celsius:.0f} °C, and slowed from {SLOWED_ABOVE_C:.0f} °C on",
            "The loop may be late, and open.",
            "Fit a heat sink; keep it away from rectifier and transformer.",
        )
    elif celsius >= WARM_ABOVE_C:
        yield note(
            f"the processor is at {celsius:.0f} °C; it is slowed from {SLOWED_ABOVE_C:.0f} °C on",
            "Little is left for a warm day beside a supply that gives off heat.",
            "Let air to it.",
        )
    else:
        yield good(f"the processor is at {celsius:.0f} °C")


def _flags(host: Host) -> int | None:
    found = (host.machine.number(path, 16) for path in host.machine.found(FLAGS))
    return next((flags for flags in found if flags is not None and flags >= 0), None)


def _untold(host: Host, what: str) -> Answer:
    if host.machine.is_pi:
        return cannot_tell(f"{what}: the firmware does not say", remedy="vcgencmd get_throttled.")
    return cannot_tell(f"{what}: not a Raspberry Pi")


def _celsius(host: Host) -> float | None:
    for zone in host.machine.found("/sys/class/thermal/thermal_zone*"):
        kind = host.machine.word(Path(zone, "type")) or ""
        thousandths = host.machine.number(Path(zone, "temp"))
        if thousandths is not None and ("cpu" in kind or "x86_pkg" in kind):
            return thousandths / 1000
    return None


CHECKS = {"voltage": voltage, "slowed": slowed, "temperature": temperature}
