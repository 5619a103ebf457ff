"""The machine as its files tell it, all below one root: a test builds a machine as a tree."""

import os
import re
import stat
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

LARGEST_BYTES = 256 * 1024  # of a file that is read here; none comes near
BOARD = "Raspberry Pi"
OUR_NAMES = ("holdwatch", "supervisor")  # the command, and the module of python -m


@dataclass(frozen=True, slots=True)
class Access:
    """Owner, group and mode of a file."""

    uid: int
    gid: int
    mode: int

    def lets(self, user: "User", bits: int) -> bool:
        """Whether the user has all of these rights: 4 to read, 2 to write, 1 to enter or run."""
        if user.uid == 0:
            return True
        shift = 6 if user.uid == self.uid else 3 if self.gid in user.gids else 0
        return self.mode >> shift & bits == bits

    @property
    def octal(self) -> str:
        return f"{stat.S_IMODE(self.mode):04o}"


@dataclass(frozen=True, slots=True)
class User:
    name: str
    uid: int
    gids: frozenset[int]


@dataclass(frozen=True, slots=True)
class Mount:
    """Where a path lies. ``device`` is the kernel's name of it (mmcblk0p2), empty if unknown."""

    point: str
    kind: str
    options: frozenset[str]
    device: str


@dataclass(frozen=True, slots=True)
class Process:
    number: int
    arguments: tuple[str, ...]
    holds: tuple[str, ...]  # what its open files are: paths, or socket:[...]

    @property
    def command(self) -> str:
        """The command of holdwatch that it runs (run, web, messages), empty for other programs."""
        names = [argument.rpartition("/")[2] for argument in self.arguments[:4]]
        at = next((n for n, name in enumerate(names) if name in OUR_NAMES), len(self.arguments))
        return self.arguments[at + 1] if at + 1 < len(self.arguments) else ""

    @property
    def told(self) -> str:
        name = self.arguments[0].rpartition("/")[2] if self.arguments else "a program"
        return f"{name} (process {self.number})"


class Machine:
    """Reads files and never raises for one that is missing, unreadable, endless or nonsense."""

    def __init__(self, root: Path = Path("/")) -> None:
        self.root = root

    def at(self, path: str | Path) -> Path:
        return self.root / str(path).lstrip("/")

    def content(self, path: str | Path) -> bytes | None:
        """A file's content; None when it cannot be read. A FIFO is not waited for."""
        try:
            file = os.open(self.at(path), os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOCTTY)
        except (OSError, ValueError):
            return None
        try:
            if not stat.S_ISREG(os.fstat(file).st_mode):
                return None
            with open(file, "rb", closefd=False) as reader:
                return reader.read(LARGEST_BYTES)
        except OSError:
            return None
        finally:
            os.close(file)

    def text(self, path: str | Path) -> str | None:
        content = self.content(path)
        return None if content is None else content.decode("utf-8", "replace")

    def word(self, path: str | Path) -> str | None:
        """The same without space and NUL at its ends; None when nothing is left."""
        return (self.text(path) or "").strip(" \t\r\n\0") or None

    def number(self, path: str | Path, base: int = 10) -> int | None:
        word = self.word(path) or ""
        digits = "[0-9a-fA-F]" if base == 16 else "[0-9]"
        return int(word, base) if re.fullmatch(f"(0x)?-?{digits}{{1,18}}", word) else None

    def cell(self, path: str | Path) -> int | None:
        """A number of the device tree: four bytes, the highest first."""
        content = self.content(path)
        return int.from_bytes(content, "big") if content and len(content) == 4 else None

    def there(self, path: str | Path) -> bool:
        return os.path.lexists(self.at(path))

    def found(self, pattern: str) -> list[str]:
        """Paths that fit a pattern, as the machine calls them."""
        try:
            fitting = sorted(self.root.glob(pattern.lstrip("/")))
        except (OSError, ValueError):
            return []
        return [f"/{path.relative_to(self.root)}" for path in fitting]

    def access(self, path: str | Path) -> Access | None:
        try:
            told = self.at(path).stat()
        except (OSError, ValueError):
            return None
        return Access(told.st_uid, told.st_gid, told.st_mode)

    def real(self, path: str | Path) -> str:
        """Where links lead to."""
        real, root = os.path.realpath(self.at(path)), os.path.realpath(self.root)
        return f"/{os.path.relpath(real, root)}" if real.startswith(root) else real

    def may(self, user: User, path: str | Path, bits: int) -> bool | None:
        """Whether a user has these rights, and may enter every folder on the way.

        None when this user cannot look.
        """
        *folders, last = [Path("/"), *reversed(Path(path).parents), Path(path)]
        for place, wanted in [*((folder, 1) for folder in folders), (last, bits)]:
            access = self.access(place)
            if access is None:
                return None
            if not access.lets(user, wanted):
                return False
        return True

    def nearest(self, path: Path) -> Path:
        """The path, or of the folders above it the nearest that is there."""
        return next((p for p in (path, *path.parents) if self.there(p)), Path("/"))

    # --- who and what is there

    @cached_property
    def model(self) -> str:
        """The board's name; empty when the kernel does not tell."""
        return self.word("/proc/device-tree/model") or ""

    @property
    def is_pi(self) -> bool:
        return self.model.startswith(BOARD)

    @cached_property
    def groups(self) -> dict[str, tuple[int, frozenset[str]]]:
        """By name: number and members. Those of /etc/group: the service's are there."""
        found = {}
        for name, _, number, members, *_ in _rows(self.text("/etc/group"), 4):
            if number.isascii() and number.isdigit():
                found[name] = int(number[:9]), frozenset(members.split(","))
        return found

    def user(self, name: str, also: tuple[str, ...] = ()) -> User | None:
        """A user of /etc/passwd, with the groups ``also`` as far as these exist."""
        for known, _, uid, gid, *_ in _rows(self.text("/etc/passwd"), 4):
            if known == name and uid.isdecimal() and gid.isdecimal():
                member = {number for number, members in self.groups.values() if name in members}
                given = {self.groups[group][0] for group in also if group in self.groups}
                return User(name, int(uid[:9]), frozenset({int(gid[:9]), *member, *given}))
        return None

    def owner_words(self, access: Access) -> str:
        """Like ``root:i2c 0660``."""
        groups = [name for name, (number, _) in self.groups.items() if number == access.gid]
        group = groups[0] if groups else str(access.gid)
        return f"{self.name_of(access.uid)}:{group} {access.octal}"

    def name_of(self, uid: int) -> str:
        """The user's name, or the number where /etc/passwd has none."""
        rows = _rows(self.text("/etc/passwd"), 4)
        return next((row[0] for row in rows if row[2] == str(uid)), str(uid))

    def mount(self, path: Path) -> Mount | None:
        """The mount that a path lies on: the deepest, and of those at one point the newest."""
        best: Mount | None = None
        for line in (self.text("/proc/self/mountinfo") or "").splitlines():
            mount = self._mount(line)
            if mount and Path(path).is_relative_to(mount.point):
                best = mount if best is None or len(mount.point) >= len(best.point) else best
        return best

    def _mount(self, line: str) -> Mount | None:
        # proc_pid_mountinfo(5): ... major:minor root point options ... - kind source super-options
        before, dash, after = line.partition(" - ")
        fields, kinds = before.split(" "), after.split(" ")
        if not dash or len(fields) < 6 or len(kinds) < 2:
            return None
        of_the_file_system = {"ro"} & set(",".join(kinds[2:]).split(","))
        options = {*fields[5].split(","), *of_the_file_system}
        try:
            device = os.path.basename(os.readlink(self.at(f"/sys/dev/block/{fields[2]}")))
        except (OSError, ValueError):
            device = os.path.basename(kinds[1])
        point = re.sub(r"\\([0-7]{3})", lambda octal: chr(int(octal[1], 8)), fields[4])
        return Mount(point, kinds[0], frozenset(options), device)

    @cached_property
    def processes(self) -> tuple[tuple[Process, ...], bool]:
        """Every other process and what it has open; and whether all of them could be looked at."""
        seen, all_seen = [], self.there("/proc/self")
        for name in _numbers(self.at("/proc")):
            if name == os.getpid():
                continue
            arguments = (self.text(f"/proc/{name}/cmdline") or "").split("\0")[:64]
            try:
                files = list(os.scandir(self.at(f"/proc/{name}/fd")))
            except FileNotFoundError:
                continue  # it has just ended
            except OSError:
                all_seen, files = False, []
            seen.append(Process(name, tuple(arguments), tuple(_link(f.path) for f in files)))
        return tuple(seen), all_seen


def _rows(text: str | None, least: int) -> list[list[str]]:
    rows = (line.split(":") for line in (text or "").splitlines())
    return [row for row in rows if len(row) >= least]


def _numbers(folder: Path) -> list[int]:
    try:
        return sorted(int(n) for n in os.listdir(folder) if n.isascii() and n.isdigit())
    except OSError:
        return []


def _link(path: str) -> str:
    try:
        return os.readlink(path)
    except OSError:
        return ""
