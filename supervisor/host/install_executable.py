"""Which holdwatch the units start, and whether the service's users can reach it."""

import os
import re
import shlex
import stat
import sys
import sysconfig
from collections.abc import Iterable
from pathlib import Path

import supervisor

NAME = "holdwatch"
# ProtectHome=yes and PrivateTmp=yes of the units: the service sees nothing of ours there.
HIDDEN = ("/home", "/root", "/run/user", "/tmp", "/var/tmp")
# Letters that mean nothing to systemd; it reads %, $, quotes, backslashes and spaces its own way.
PLAIN = re.compile(r"/[A-Za-z0-9/._+@,:=~-]+")
# A virtual environment names its own folder in its programs: it is made where it stays.
REMEDY = (
    "install it where every user can read it, on the system's own Python: sudo /usr/bin/python3 -m "
    "venv /opt/holdwatch, then sudo /opt/holdwatch/bin/pip install with what you installed here, "
    "then sudo /opt/holdwatch/bin/holdwatch install-units"
)


class Unfit(Exception):
    """The units cannot start it. ``remedy`` says what to do."""

    def __init__(self, problem: str, remedy: str = REMEDY) -> None:
        super().__init__(problem)
        self.remedy = remedy


def own_executable() -> Path:
    """The holdwatch that runs this. Raises Unfit when there is none: a module may be run alone."""
    called = Path(sys.argv[0])
    if called.name == NAME and called.is_file():
        return _whole(called)
    installed = Path(sysconfig.get_path("scripts")) / NAME
    if installed.is_file():
        return installed
    raise Unfit(f"there is no program {NAME} beside this Python ({sys.executable})")


def as_root(command: str) -> str:
    """One of ours as it is to be typed: the path of root need not have it yet."""
    try:
        program = shlex.quote(str(own_executable()))
    except Unfit:
        program = NAME
    return f"sudo {program} {command}"


def refuse_odd(executable: Path) -> None:
    """Raises Unfit for a path that does not mean itself in a unit file."""
    if not executable.is_absolute() or executable.name != NAME:
        raise Unfit(
            f"{executable} is no whole path to a program named {NAME}",
            "give the whole path, as in /opt/holdwatch/bin/holdwatch",
        )
    if not PLAIN.fullmatch(str(executable)):
        raise Unfit(
            f"the path {str(executable)!r} has a character that systemd may read in another way",
            "install it in a folder named with letters, digits and . _ - only, as /opt/holdwatch",
        )


def refuse_out_of_reach(executable: Path) -> None:
    """Raises Unfit when it, or what it runs on, is hidden from the service's users."""
    try:
        if not executable.is_file():
            raise Unfit(f"there is no program {executable}", "give the path of one that is there")
        for path in _needed(executable):
            _refuse_hidden(path)
            _refuse_barred(path)
    except PermissionError as error:
        raise Unfit(f"not every user may pass to {error.filename}") from None


def _refuse_hidden(path: Path) -> None:
    for hidden in HIDDEN:
        if path.is_relative_to(hidden):
            raise Unfit(f"it needs {path}, and what lies below {hidden} is hidden from the service")


def _refuse_barred(path: Path) -> None:
    """Folders to pass, the outermost first, then the file itself."""
    for folder in reversed(path.parents):
        if not folder.stat().st_mode & stat.S_IXOTH:
            raise _barred(folder, path)
    mode = path.stat().st_mode
    is_program = mode & stat.S_IXUSR
    if not mode & stat.S_IROTH or (is_program and not mode & stat.S_IXOTH):
        raise _barred(path, path)


def _barred(by: Path, path: Path) -> Unfit:
    mode = stat.S_IMODE(by.stat().st_mode)
    return Unfit(
        f"it needs {path}, and mode {mode:04o} of {by} keeps the service's users out",
        f"let everybody in: sudo chmod o+rX {by}; or {REMEDY}",
    )


def _whole(path: Path) -> Path:
    """As it was called: a link that is kept up to date is better than where it points today."""
    if path.is_absolute() and ".." not in path.parts:
        return path
    return path.parent.resolve() / path.name


def _needed(executable: Path) -> Iterable[Path]:
    """The program; and if it is this one, its Python, that one's library, and the package."""
    needed = [executable]
    if _is_this_one(executable):
        needed += [Path(sys.executable), Path(os.__file__), Path(supervisor.__file__)]
    return dict.fromkeys(part for path in needed for part in (path, path.resolve()))


def _is_this_one(executable: Path) -> bool:
    try:
        return executable.resolve() == own_executable().resolve()
    except Unfit:
        return False
