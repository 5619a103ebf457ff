"""The hardware watchdog: what starts the machine anew when its kernel hangs."""

import re
from collections.abc import Iterator

from supervisor.host.check_answer import Answer, cannot_tell, good, warning
from supervisor.host.check_host import Host
from supervisor.host.check_unit import assigned, drop_ins

KEY = "RuntimeWatchdogSec"
DEVICE, ABOUT = "/dev/watchdog", "/sys/class/watchdog/watchdog0"
MOST_ON_A_PI_S = 15  # more than its counter holds (hardware of the BCM283x, memory)
WISH = (
    "In /etc/systemd/system.conf.d/watchdog.conf: [Manager], RuntimeWatchdogSec=10s; then start "
    "anew."
)
# systemd.time(7)
UNITS = {
    "us": 1e-6, "usec": 1e-6, "ms": 1e-3, "msec": 1e-3,
    "s": 1, "sec": 1, "second": 1, "seconds": 1, "": 1,
    "m": 60, "min": 60, "minute": 60, "minutes": 60, "h": 3600, "hr": 3600, "hour": 3600,
    "hours": 3600,
}  # fmt: skip


def device(host: Host) -> Iterator[Answer]:
    if _is_there(host):
        yield good("there is a hardware watchdog")
    else:
        yield warning(
            "there is no hardware watchdog",
            "A kernel that hangs stays so, and with level drive the coil stays on.",
            "In config.txt: dtparam=watchdog=on, then start anew."
            if host.machine.is_pi
            else "Load the kernel module of this board's watchdog, if it has one.",
        )


def fed(host: Host) -> Iterator[Answer]:
    """By systemd. That proves process 1 alive; the loop has the unit's own WatchdogSec."""
    if not _is_there(host):
        return
    paths = ["/etc/systemd/system.conf", *drop_ins(host.machine, "system.conf.d")]
    texts = [host.machine.text(path) or "" for path in paths]
    value = (assigned(texts, "Manager", KEY) or ["off"])[-1]
    seconds = span_s(value)
    most = _most_s(host)
    if value == "default":
        yield from _running(host, "systemd leaves the watchdog as it found it")
    elif seconds is None:
        yield cannot_tell(f"what {KEY}={value} in systemd's settings means", remedy=WISH)
    elif not seconds:
        yield warning(
            "nobody feeds the hardware watchdog: a kernel that hangs stays so",
            "With level drive the coil stays on then. (It would prove that kernel and process 1 "
            "live, not the loop: that is for the unit's own watchdog.)",
            WISH,
        )
    elif most is not None and seconds > most:
        yield warning(
            f"{KEY}={value} is more than the {most} s that this watchdog can count",
            "It may not run at all.",
            WISH,
        )
    else:
        yield from _running(host, f"systemd feeds the watchdog ({KEY}={value})")


def span_s(text: str) -> float | None:
    """A time as systemd writes it, in seconds; None when it is none."""
    if text.lower() in ("off", "no", "false", "0", "infinity"):
        return 0.0
    parts = re.findall(r"(\d{1,9}(?:\.\d{1,9})?)\s*([a-z]*)\s*", text, re.ASCII)
    whole = re.fullmatch(r"(\d{1,9}(?:\.\d{1,9})?\s*[a-z]*\s*)+", text, re.ASCII)
    if not whole or any(unit not in UNITS for _, unit in parts):
        return None
    return sum(float(number) * UNITS[unit] for number, unit in parts)


def _running(host: Host, words: str) -> Iterator[Answer]:
    state = host.machine.word(f"{ABOUT}/state")
    timeout = host.machine.number(f"{ABOUT}/timeout")
    if state == "inactive":
        yield warning(f"{words}, but it does not run", "A kernel that hangs stays so.", f"{WISH}")
    elif state == "active":
        after = f", after {timeout} s" if timeout else ""
        yield good(
            f"{words}: a kernel that hangs is started anew{after}. It proves process 1 alive, not "
            "the loop"
        )
    else:
        yield cannot_tell(f"{words}; whether it runs, the kernel does not say")


def _is_there(host: Host) -> bool:
    return host.machine.there(DEVICE) or host.machine.there(f"{DEVICE}0")


def _most_s(host: Host) -> int | None:
    told = host.machine.number(f"{ABOUT}/max_timeout")
    return told or (MOST_ON_A_PI_S if host.machine.is_pi else None)


CHECKS = {"device": device, "fed": fed}
