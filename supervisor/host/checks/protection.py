"""What guards the circuit in the daemon's unit, as it is in force with every drop-in."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from supervisor.host.check_answer import Answer, cannot_tell, fault, good, warning
from supervisor.host.check_host import Host
from supervisor.host.check_unit import UNIT, assigned
from supervisor.host.checks.watchdog import span_s
from supervisor.host.unit_files import WRITTEN_FOR, executable_in, unit_files

STOP = "ExecStopPost"
LISTS = ("RestartPreventExitStatus", "RuntimeDirectory", "StateDirectory")  # lines add up
EDITED_BY_HAND = ("/etc/", "/run/")  # where systemctl edit writes, and revert takes back
LATE = "Without it the loop may be late when the machine is busy: it opens, or opens late."
PLACES = "Page, messages and the other commands look there for what the daemon writes."
WHY: Mapping[str, str] = {
    "ExecStart": "Another command, or other options, may not watch this circuit at all.",
    STOP: "After a kill nothing switches off what was left on: the coil may stay on.",
    "WatchdogSec": "A loop that hangs is ended after that time; until then nobody watches the bank "
    "and with level drive the coil stays on.",
    "WatchdogSignal": "A process that hangs need not obey another signal than SIGKILL.",
    "Restart": "After a crash nobody watches the bank until somebody starts it.",
    "RestartPreventExitStatus": "An end that would pass, such as a bus late at boot, may leave it "
    "down, or have it try for ever with settings at fault.",
    "Type": "Without notify, systemd neither sees that it has started nor feeds its watchdog.",
    "User": "As another user it may not reach bus, pins and folders, or has all of the machine.",
    "CPUSchedulingPolicy": LATE,
    "CPUSchedulingPriority": LATE,
    "LimitMEMLOCK": "Memory that cannot be locked is fetched from the card: the loop may be late.",
    "RuntimeDirectory": PLACES,
    "RuntimeDirectoryMode": "Others may be kept from looking, or may ask what they should not.",
    "RuntimeDirectoryPreserve": "What was left on after a kill is written there: it must stay.",
    "StateDirectory": f"{PLACES} The lockout is kept there.",
}


@dataclass(frozen=True, slots=True)
class Change:
    """Of a key: what is in force, and what the delivered unit says."""

    key: str
    now: str
    delivered: str

    @property
    def told(self) -> str:
        return f"{self.key} is {self.now}, not {self.delivered}" if self.now else (
            f"{self.key} is not set"
        )  # fmt: skip


def kept(host: Host) -> Iterator[Answer]:
    if not host.unit.is_there:
        yield cannot_tell("whether the unit guards the circuit: there is no service")
        return
    changes = list(_changes(host))
    for change in changes:
        yield _told(host, change)
    if not changes:
        yield good("what guards the circuit in the service's settings is as they are delivered")


def _changes(host: Host) -> Iterator[Change]:
    unit, delivered = host.unit, _delivered(host)
    for key in WHY:
        theirs, ours = unit.values(key), assigned([delivered], "Service", key)
        if key == STOP:
            theirs = theirs[: len(ours)]  # what comes after ours does no harm
        elif key not in LISTS:
            theirs = theirs[-1:]
        now, wanted = " ".join(theirs), " ".join(ours)
        if _meaning(host, key, now) != _meaning(host, key, wanted):
            yield Change(key, now, wanted)


def _delivered(host: Host) -> str:
    """Our unit, for the program that the one in force starts before any drop-in."""
    text = next(iter(host.unit.files.values()))
    starts = executable_in(text.encode("utf-8", "replace")) or WRITTEN_FOR
    return next(f.content.decode() for f in unit_files(starts) if f.path.name == UNIT)


def _meaning(host: Host, key: str, value: str) -> object:
    if key == "WatchdogSec":
        return span_s(value)
    return value.replace("%i", host.circuit or "%i").split()


def _told(host: Host, change: Change) -> Answer:
    path, key = host.unit.told_by(change.key), change.key
    is_level = host.settings is not None and host.settings.contactor.drive == "level"
    grave = key == STOP and is_level and not host.unit.drops
    folder = Path(path).parent.name
    name = folder.removesuffix(".d") if folder.endswith(".d") else Path(path).name
    revert = (
        f" (or take back every change of it: sudo systemctl revert {name})"
        if path.startswith(EDITED_BY_HAND) and name.startswith("holdwatch@")
        else ""
    )
    return (fault if grave else warning)(
        f"{change.told} ({path})",
        WHY[key],
        f"Let {path} say {key}={change.delivered}, or nothing of it{revert}; then sudo systemctl "
        f"daemon-reload and, when the circuit is open, sudo systemctl restart "
        f"holdwatch@{host.circuit_or_name}",
        about=key,
    )


CHECKS = {"kept": kept}
