"""Machines to install on: folders as a system has them, and every state of one file of ours."""

import os
import stat
from collections.abc import Callable
from pathlib import Path

from supervisor.host.own_mark import marked
from supervisor.host.unit_files import Wanted

# As a new Debian has them; base-files brings those of usr/local.
FOLDERS = (
    "etc/systemd/system",
    "run",
    "usr/lib/systemd/system",
    "usr/share/man",
    "usr/local/lib",
    "usr/local/share/man",
)
Entry = tuple[int, bytes | str | None]


def machine(root: Path) -> Path:
    for folder in FOLDERS:
        (root / folder).mkdir(parents=True)
    (root / "usr/lib/systemd/system/basic.target").write_text("[Unit]\n")
    return root


def snapshot(root: Path) -> dict[str, Entry]:
    """Everything below it, with its mode, and its content or where it points."""
    return {str(path.relative_to(root)): _entry(path) for path in sorted(root.rglob("*"))}


def _entry(path: Path) -> Entry:
    mode = path.lstat().st_mode
    if stat.S_ISLNK(mode):
        return mode, str(path.readlink())
    return mode, path.read_bytes() if stat.S_ISREG(mode) else None


# --- one file of ours, or what is in its place


def _parent(root: Path, wanted: Wanted) -> Path:
    path = root / wanted.path
    path.parent.mkdir(parents=True, exist_ok=True)
    return path


def missing(root: Path, wanted: Wanted) -> None:
    """As it is."""


def in_place(root: Path, wanted: Wanted) -> None:
    _parent(root, wanted).write_bytes(wanted.content)


def other_version(root: Path, wanted: Wanted) -> None:
    mark = '.\\"' if wanted.path.suffix == ".1" else "#"
    below = 1 if wanted.path.name.startswith("_") else 0
    text = marked("#compdef holdwatch\nan older text\n", mark, below=below)
    _parent(root, wanted).write_text(text.replace("holdwatch 0", "holdwatch 9", 1))


def edited(root: Path, wanted: Wanted) -> None:
    _parent(root, wanted).write_bytes(wanted.content + b"# tuned at night\n")


def not_ours(root: Path, wanted: Wanted) -> None:
    _parent(root, wanted).write_bytes(b"\xff\x00 something else\n")


def empty(root: Path, wanted: Wanted) -> None:
    _parent(root, wanted).write_bytes(b"")


def mask(root: Path, wanted: Wanted) -> None:
    _parent(root, wanted).symlink_to("/dev/null")


def link(root: Path, wanted: Wanted) -> None:
    target = root / "etc" / f"a copy of {wanted.path.name}"
    target.write_bytes(wanted.content)
    _parent(root, wanted).symlink_to(target)


def dangling_link(root: Path, wanted: Wanted) -> None:
    _parent(root, wanted).symlink_to("nowhere")


def folder(root: Path, wanted: Wanted) -> None:
    _parent(root, wanted).mkdir()


def pipe(root: Path, wanted: Wanted) -> None:
    os.mkfifo(_parent(root, wanted))


def of_a_package(root: Path, wanted: Wanted) -> None:
    """Only what the system looks for in several places can be there twice."""
    for elsewhere in wanted.elsewhere[-1:]:
        other = root / elsewhere
        other.parent.mkdir(parents=True, exist_ok=True)
        other.write_bytes(wanted.content)


def masked_above(root: Path, wanted: Wanted) -> None:
    for elsewhere in wanted.elsewhere[:1]:
        other = root / elsewhere
        other.parent.mkdir(parents=True, exist_ok=True)
        other.symlink_to("/dev/null")


Arrange = Callable[[Path, Wanted], None]
FREE: tuple[Arrange, ...] = (missing, in_place, other_version, masked_above)
TAKEN: tuple[Arrange, ...] = (
    edited, not_ours, empty, mask, link, dangling_link, folder, pipe
)  # fmt: skip
