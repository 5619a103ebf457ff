"""As whom, and from where, systemd runs the daemon: the unit in force, with its drop-ins."""

from dataclasses import dataclass
from pathlib import Path

from supervisor.host.check_machine import Machine
from supervisor.host.unit_files import SEARCHED

# Where systemd looks for units and for settings of its own; the first that is found wins.
FOLDERS = (*SEARCHED, "lib")
UNIT = "holdwatch@.service"
HOMES, TEMPORARY = ("/home", "/root", "/run/user"), ("/tmp", "/var/tmp")
ON = ("yes", "true", "on", "1", "tmpfs")
USER, GROUP, GROUPS = "holdwatch", "holdwatch", ("i2c", "gpio")  # as in systemd/


@dataclass(frozen=True, slots=True)
class Unit:
    """What the checks need to know of the daemon's unit; without one, what ours would say."""

    is_there: bool
    user: str
    groups: tuple[str, ...]  # beyond those that /etc/group gives the user
    program: str  # empty without a unit
    hidden: tuple[str, ...]  # folders it does not see: systemd.exec(5)
    drops: bool  # after every end of the daemon it switches off what was left on


def daemon_unit(machine: Machine, circuit: str) -> Unit:
    text = _first(machine, UNIT)
    if text is None:
        return Unit(False, USER, (GROUP, *GROUPS), "", (*HOMES, *TEMPORARY), False)
    names = dict.fromkeys((UNIT, f"holdwatch@{circuit}.service"))
    texts = [text, *(text for name in names for text in drop_ins(machine, f"system/{name}.d"))]
    starts = assigned(texts, "Service", "ExecStart")
    groups = " ".join(assigned(texts, "Service", "SupplementaryGroups")).split()
    return Unit(
        True,
        (assigned(texts, "Service", "User") or ["root"])[-1],
        (*assigned(texts, "Service", "Group")[-1:], *groups),
        starts[-1].split(" ")[0].lstrip("@-:+!") if starts else "",
        (
            *(HOMES if _is_on(texts, "ProtectHome") else ()),
            *(TEMPORARY if _is_on(texts, "PrivateTmp") else ()),
        ),
        any(" drop " in f"{line} " for line in assigned(texts, "Service", "ExecStopPost")),
    )


def drop_ins(machine: Machine, below: str) -> list[str]:
    """The texts of ``*.conf`` below systemd's folders, in the order in which they count."""
    found: dict[str, str] = {}
    for folder in reversed(FOLDERS):
        for path in machine.found(f"{folder}/systemd/{below}/*.conf"):
            found[Path(path).name] = machine.text(path) or ""
    return [found[name] for name in sorted(found)]


def assigned(texts: list[str], section: str, key: str) -> list[str]:
    """The values of a key, in order. An empty one takes back those before it: systemd.syntax(7)."""
    values: list[str] = []
    for text in texts:
        inside = ""
        for line in text.replace("\\\n", " ").splitlines():
            name, equals, value = (part.strip() for part in line.partition("="))
            if name.startswith("[") and name.endswith("]"):
                inside = name[1:-1]
            elif inside == section and equals and name == key:
                values = [*values, value] if value else []
    return values


def _is_on(texts: list[str], key: str) -> bool:
    return (assigned(texts, "Service", key) or [""])[-1].lower() in ON


def _first(machine: Machine, name: str) -> str | None:
    texts = (machine.text(f"/{folder}/systemd/system/{name}") for folder in FOLDERS)
    return next((text for text in texts if text is not None), None)
