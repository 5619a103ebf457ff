"""The files that make a service of it: where each belongs, and what lies there now.

``systemd/`` in the source is where they are written; a link carries them in the package.
"""

import errno
import os
import re
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from importlib.resources import files
from pathlib import Path, PurePosixPath

from supervisor.host.own_mark import marked, read_mark, without_mark

WRITTEN_FOR = "/opt/holdwatch/bin/holdwatch"  # in systemd/; another one takes its place
LARGEST_BYTES = 1_000_000  # none of ours comes near

# Where systemd and udev look, the first found wins (systemd.unit(5), sysusers.d(5), udev(7)).
# Ours go where an administrator's own file in /etc, a drop-in and a mask stand above them.
ADMINISTRATOR, RUNTIME, LOCAL, VENDOR = "etc", "run", "usr/local/lib", "usr/lib"
SEARCHED = (ADMINISTRATOR, RUNTIME, LOCAL, VENDOR)
# By the ending in systemd/: the folder below each of those, and the ending there.
KINDS = {
    ".service": ("systemd/system", ".service"),
    ".slice": ("systemd/system", ".slice"),
    ".target": ("systemd/system", ".target"),
    ".sysusers": ("sysusers.d", ".conf"),
    ".tmpfiles": ("tmpfiles.d", ".conf"),
    ".rules": ("udev/rules.d", ".rules"),
}


class State(StrEnum):
    """What lies where a file of ours belongs."""

    MISSING = "missing"
    IN_PLACE = "in place"
    OTHER_VERSION = "of another version"
    EDITED = "edited"
    NOT_OURS = "not ours"
    MASKED = "masked"
    IN_THE_WAY = "in the way"
    UNREADABLE = "unreadable"
    TWICE = "there twice"


@dataclass(frozen=True, slots=True)
class Wanted:
    """One file as this version writes it. ``path`` is below the root, without a slash before it."""

    path: PurePosixPath
    content: bytes

    @property
    def elsewhere(self) -> tuple[PurePosixPath, ...]:
        """The other places in which the system looks for it, the strongest first."""
        base = next((b for b in SEARCHED if self.path.is_relative_to(b)), None)
        if base is None:  # a page of the manual, a completion
            return ()
        rest = self.path.relative_to(base)
        return tuple(PurePosixPath(other) / rest for other in SEARCHED if other != base)


@dataclass(frozen=True, slots=True)
class Found:
    """What lies at ``path``. ``detail`` says more; ``remedy`` what to do, empty if nothing;
    ``content`` what is in it, where it is ours."""

    wanted: Wanted
    path: Path
    state: State
    detail: str = ""
    remedy: str = ""
    content: bytes = b""

    @property
    def is_ours(self) -> bool:
        """Written by us and by nobody since: it may be replaced or removed."""
        return self.state in (State.IN_PLACE, State.OTHER_VERSION)

    @property
    def hinders(self) -> bool:
        """It is not ours to write there."""
        return self.state is not State.MISSING and not self.is_ours


def unit_files(executable: str = WRITTEN_FOR, *, vendor: bool = False) -> list[Wanted]:
    """Ours for this executable, by name; for a package's maker in the ``vendor`` places."""
    base = PurePosixPath(VENDOR if vendor else LOCAL)
    return [
        Wanted(base / folder / name, marked(_for(text, executable), "#").encode())
        for folder, name, text in _sources()
    ]


def look(root: Path, wanted: Wanted) -> Found:
    """What lies where the file belongs. Raises nothing: what cannot be told is a state too."""
    return _look_at(root / wanted.path, wanted)


def look_around(root: Path, wanted: Wanted) -> Found:
    """The same; and one of that name in another place, of which the system reads only one. A mask
    there is none: it says that the unit is not to run, whatever its file."""
    found = look(root, wanted)
    others = [path for path in _there(root, wanted.elsewhere) if not is_mask(path)]
    return _twice(wanted, root / wanted.path, others[0]) if others and not found.hinders else found


def masks(root: Path, wanted: Iterable[Wanted]) -> list[Path]:
    """The links with which somebody keeps one of them from running."""
    return [path for one in wanted for path in _there(root, one.elsewhere) if is_mask(path)]


def is_mask(path: Path) -> bool:
    return path.is_symlink() and str(path.readlink()) == "/dev/null"


def in_force(root: Path = Path("/")) -> list[Found]:
    """Of each file, the one the system reads, whoever put it there and for which executable."""
    return [_in_force(root, wanted) for wanted in unit_files()]


def executable_in(content: bytes) -> str | None:
    """The holdwatch that a unit starts."""
    found = re.search(rb"^ExecStart=(\S+/holdwatch) ", content, re.MULTILINE)
    return found[1].decode("utf-8", "replace") if found else None


# --- what is there


def _there(root: Path, paths: Iterable[PurePosixPath]) -> list[Path]:
    return [root / path for path in paths if os.path.lexists(root / path)]


def _in_force(root: Path, wanted: Wanted) -> Found:
    places = sorted((wanted.path, *wanted.elsewhere), key=_strength)
    path = next(iter(_there(root, places)), root / wanted.path)
    found = _look_at(path, wanted)
    if found.state is not State.OTHER_VERSION or not (starts := executable_in(found.content)):
        return found
    same = next(other for other in unit_files(starts) if other.path == wanted.path)
    return _look_at(path, same)


def _strength(path: PurePosixPath) -> int:
    return next(n for n, base in enumerate(SEARCHED) if path.is_relative_to(base))


def _look_at(path: Path, wanted: Wanted) -> Found:
    try:
        mode = path.lstat().st_mode
        if stat.S_ISLNK(mode):
            return _link(path, wanted)
        if not stat.S_ISREG(mode):
            what = "a folder" if stat.S_ISDIR(mode) else "no regular file"
            return Found(wanted, path, State.IN_THE_WAY, f"it is {what}", _move(path))
        with path.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        return _unreadable(path, wanted, error)
    return _content(path, wanted, content)


def _unreadable(path: Path, wanted: Wanted, error: OSError) -> Found:
    if error.errno == errno.ENOENT:
        return Found(wanted, path, State.MISSING)
    if error.errno == errno.ENOTDIR:
        why = "one of the folders on the way to it is a file"
        return Found(wanted, path, State.IN_THE_WAY, why, "move that file away")
    why = (error.strerror or str(error)).lower()
    return Found(wanted, path, State.UNREADABLE, why, "look at it as root")


def _link(path: Path, wanted: Wanted) -> Found:
    if is_mask(path):
        remedy = f"systemctl unmask {path.name}, if it is to run after all"
        return Found(wanted, path, State.MASKED, "somebody wants that it never runs", remedy)
    return Found(wanted, path, State.IN_THE_WAY, f"it is a link to {path.readlink()}", _move(path))


def _content(path: Path, wanted: Wanted, content: bytes) -> Found:
    mark = read_mark(content)
    if mark is None:
        return Found(wanted, path, State.NOT_OURS, "it does not say that we wrote it", _move(path))
    if not mark.fits:
        return Found(wanted, path, State.EDITED, "somebody changed it since", _drop_in(path))
    if without_mark(content) == without_mark(wanted.content):
        return Found(wanted, path, State.IN_PLACE, content=content)
    who = f"holdwatch {mark.version} wrote it"
    return Found(wanted, path, State.OTHER_VERSION, who, content=content)


def _twice(wanted: Wanted, path: Path, other: Path) -> Found:
    why = f"there is {other} too, and the system reads only one of them"
    remedy = f"remove the package that brought {other}, or move that file away"
    if _is_unit(path):
        remedy += f" (systemctl revert {path.name}, if systemctl edit --full made it)"
    return Found(wanted, path, State.TWICE, why, remedy)


def _move(path: Path) -> str:
    return f"move {path} away if nobody needs it, then run this again"


def _drop_in(path: Path) -> str:
    if not _is_unit(path):
        return f"keep a copy of it, and {_move(path)}"
    return (
        f"put what you changed into a drop-in (systemctl edit {path.name}), which outlives every "
        f"upgrade; then {_move(path)}"
    )


def _is_unit(path: Path) -> bool:
    return path.parent.name == "system"


# --- what we would write


def _sources() -> Iterator[tuple[str, str, str]]:
    """Folder, name there, text."""
    for source in sorted(
        files("supervisor").joinpath("host/units").iterdir(), key=lambda s: s.name
    ):
        ending = PurePosixPath(source.name).suffix
        if ending in KINDS:
            folder, becomes = KINDS[ending]
            name = source.name.removesuffix(ending) + becomes
            yield folder, name, source.read_text("utf-8")


def _for(text: str, executable: str) -> str:
    return text.replace(WRITTEN_FOR, executable)
