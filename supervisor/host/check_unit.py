"""As whom, and from where, systemd runs the daemon: the unit in force, with its drop-ins."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
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
    files: Mapping[str, str] = field(default_factory=dict)  # path and text, as they count

    def values(self, key: str) -> list[str]:
        """Of its section [Service]."""
        return assigned(list(self.files.values()), "Service", key)

    def told_by(self, key: str) -> str:
        """The file that has the last word on a key; where none speaks of it, the unit itself."""
        speaking = [path for path, text in self.files.items() if key in _keys(text)]
        return [*list(self.files)[:1], *speaking][-1]


def daemon_unit(machine: Machine, circuit: str) -> Unit:
    own = f"holdwatch@{circuit}.service"
    path = _first(machine, own) or _first(machine, UNIT)
    if path is None:
        return Unit(False, USER, (GROUP, *GROUPS), "", (*HOMES, *TEMPORARY), False)
    settings = drop_ins(machine, "system/service.d", f"system/{UNIT}.d", f"system/{own}.d")
    files = {path: machine.text(path) or "" for path in (path, *settings)}
    texts = list(files.values())
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
        files,
    )


def drop_ins(machine: Machine, *below: str) -> list[str]:
    """The paths of ``*.conf`` below systemd's folders, in the order in which they count: by name,
    whatever the folder. Of those of one name the strongest place has it alone: systemd.unit(5)."""
    found: dict[str, str] = {}
    for folder in reversed(FOLDERS):
        for place in below:
            for path in machine.found(f"{folder}/systemd/{place}/*.conf"):
                found[Path(path).name] = path
    return [found[name] for name in sorted(found)]


def assigned(texts: Iterable[str], section: str, key: str) -> list[str]:
    """The values of a key, in order. An empty one takes back those before it: systemd.syntax(7)."""
    values: list[str] = []
    for text in texts:
        for inside, name, value in _assignments(text):
            if (inside, name) == (section, key):
                values = [*values, value] if value else []
    return values


def _keys(text: str) -> set[str]:
    return {name for section, name, _ in _assignments(text) if section == "Service"}


def _assignments(text: str) -> Iterator[tuple[str, str, str]]:
    """Section, key and value."""
    inside = ""
    for line in text.replace("\\\n", " ").splitlines():
        name, equals, value = (part.strip() for part in line.partition("="))
        if name.startswith("[") and name.endswith("]"):
            inside = name[1:-1]
        elif equals:
            yield inside, name, value


def _is_on(texts: list[str], key: str) -> bool:
    return (assigned(texts, "Service", key) or [""])[-1].lower() in ON


def _first(machine: Machine, name: str) -> str | None:
    paths = (f"/{folder}/systemd/system/{name}" for folder in FOLDERS)
    return next((path for path in paths if machine.text(path) is not None), None)
