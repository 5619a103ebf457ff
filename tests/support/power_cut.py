"""Power cuts for files that SQLite writes: what the medium may hold after one.

The very library that ``sqlite3`` runs on is watched through a file layer (VFS) of ours, laid over
its own: every write, truncation, creation, removal and sync is passed on and noted, in order. A cut
then keeps what was synced, and of the rest a random part, torn at sectors; removals and creations
that no sync of the folder followed may have happened or not.
"""

import _sqlite3
import ctypes as c
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

SECTOR_BYTES = 512
Files = dict[str, bytes]


# --- what happened


class Create(NamedTuple):
    name: str
    file: int


class Remove(NamedTuple):
    name: str


class Write(NamedTuple):
    file: int
    offset: int
    data: bytes


class Truncate(NamedTuple):
    file: int
    size: int


class Sync(NamedTuple):
    file: int


class SyncFolder(NamedTuple):
    pass


class Acknowledged(NamedTuple):
    """The program was told that it is done."""


Act = Create | Remove | Write | Truncate | Sync | SyncFolder | Acknowledged


@dataclass
class Recording:
    """Of one folder that was empty."""

    folder: Path
    acts: list[Act] = field(default_factory=list)
    names: dict[str, int] = field(default_factory=dict)  # files there are, by name
    by_handle: dict[int, int] = field(default_factory=dict)
    count: int = 0

    def acknowledge(self) -> None:
        self.acts.append(Acknowledged())

    def opened(self, path: str, handle: int) -> None:
        name = Path(path).name
        if name not in self.names:
            self.names[name] = self.count
            self.count += 1
            self.acts.append(Create(name, self.names[name]))
        self.by_handle[handle] = self.names[name]

    def removed(self, path: str) -> None:
        if self.names.pop(Path(path).name, None) is not None:
            self.acts.append(Remove(Path(path).name))

    def is_about(self, path: str) -> bool:
        return Path(path).parent == self.folder


# --- what is left of it


class Medium:
    """Takes acts in order; can be asked at any time what a cut would leave."""

    def __init__(self) -> None:
        self._synced: dict[int, bytearray] = {}
        self._pending: dict[int, list[Write | Truncate]] = {}
        self._names: dict[str, int] = {}
        self._renamed: list[Create | Remove] = []  # since the folder was synced

    def take(self, act: Act) -> None:
        match act:
            case Create(file=file):
                self._synced[file], self._pending[file] = bytearray(), []
                self._renamed.append(act)
            case Remove():
                self._renamed.append(act)
            case Write() | Truncate():
                self._pending[act.file].append(act)
            case Sync(file):
                for pending in self._pending[file]:
                    _apply(self._synced[file], pending)
                self._pending[file].clear()
            case SyncFolder():
                for change in self._renamed:
                    _rename(self._names, change)
                self._renamed.clear()

    def after_cut(self, random: Random) -> Files:
        names = self._names.copy()
        kept = random.choice((0.0, 0.5, 0.9, 1.0))
        for change in self._renamed:
            if random.random() < kept:
                _rename(names, change)
        return {name: self._content(file, kept, random) for name, file in names.items()}

    def _content(self, file: int, kept: float, random: Random) -> bytes:
        content = self._synced[file].copy()
        for act in self._pending[file]:
            if random.random() >= kept:
                continue
            parts = _torn(act, random) if isinstance(act, Write) else [act]
            for part in parts:
                _apply(content, part, random)
        return bytes(content)


def _rename(names: dict[str, int], change: Create | Remove) -> None:
    if isinstance(change, Create):
        names[change.name] = change.file
    else:
        names.pop(change.name, None)


def _apply(content: bytearray, act: Write | Truncate, random: Random | None = None) -> None:
    if isinstance(act, Truncate):
        del content[act.size :]
        return
    gap = act.offset - len(content)
    if gap > 0:  # what was to be there never arrived: zeros, or what the sectors held before
        content.extend(random.randbytes(gap) if random and random.random() < 0.5 else bytes(gap))
    content[act.offset : act.offset + len(act.data)] = act.data


def _torn(write: Write, random: Random) -> list[Write | Truncate]:
    """Its sectors: all, the first few, or any."""
    parts: list[Write | Truncate] = []
    at, end = write.offset, write.offset + len(write.data)
    while at < end:
        upto = min(end, (at // SECTOR_BYTES + 1) * SECTOR_BYTES)
        parts.append(Write(write.file, at, write.data[at - write.offset : upto - write.offset]))
        at = upto
    match random.choice(("whole", "begun", "scattered")):
        case "begun":
            return parts[: random.randrange(len(parts) + 1)]
        case "scattered":
            return [part for part in parts if random.random() < 0.5]
    return parts


class Cut(NamedTuple):
    acknowledged: int  # acts of the program
    files: Files


def cuts(acts: list[Act], count: int, random: Random) -> Iterator[Cut]:
    """At random points, in order."""
    medium, done, acknowledged = Medium(), 0, 0
    for point in sorted(random.randrange(len(acts) + 1) for _ in range(count)):
        for act in acts[done:point]:
            medium.take(act)
            acknowledged += isinstance(act, Acknowledged)
        done = point
        yield Cut(acknowledged, medium.after_cut(random))


def lay_out(files: Files, folder: Path, random: Random) -> None:
    """As the next start finds them; with the leavings of a shared memory file now and then."""
    for old in folder.iterdir():
        old.unlink()
    for name, content in files.items():
        (folder / name).write_bytes(content)
        if not name.endswith(("-wal", "-journal")) and random.random() < 0.3:
            (folder / f"{name}-shm").write_bytes(random.randbytes(32768))


# --- the file layer; see https://www.sqlite.org/c3ref/vfs.html and io_methods.html

POINTER, TEXT, INT, LONG = c.c_void_p, c.c_char_p, c.c_int, c.c_int64
WRITE = c.CFUNCTYPE(INT, POINTER, POINTER, INT, LONG)
TRUNCATE = c.CFUNCTYPE(INT, POINTER, LONG)
SYNC = c.CFUNCTYPE(INT, POINTER, INT)
OPEN = c.CFUNCTYPE(INT, POINTER, POINTER, POINTER, INT, c.POINTER(INT))
DELETE = c.CFUNCTYPE(INT, POINTER, TEXT, INT)
SET_CALL = c.CFUNCTYPE(INT, POINTER, TEXT, POINTER)
GET_CALL = c.CFUNCTYPE(POINTER, POINTER, TEXT)
OPEN_FOLDER = c.CFUNCTYPE(INT, TEXT, c.POINTER(INT))


class Methods(c.Structure):
    _fields_ = (
        ("version", INT), ("close", POINTER), ("read", POINTER), ("write", WRITE),
        ("truncate", TRUNCATE), ("sync", SYNC), ("others", POINTER * 12),
    )  # fmt: skip


class File(c.Structure):
    _fields_ = (("methods", c.POINTER(Methods)),)


class Layer(c.Structure):
    _fields_ = (
        ("version", INT), ("file_size", INT), ("path_size", INT), ("next", POINTER),
        ("name", TEXT), ("data", POINTER), ("open", OPEN), ("delete", DELETE),
        ("others", POINTER * 11), ("set_call", SET_CALL), ("get_call", GET_CALL),
        ("next_call", POINTER),
    )  # fmt: skip


def _library() -> Any:
    """The one that the module ``sqlite3`` of this Python is linked with."""
    library = c.CDLL(_sqlite3.__file__)
    library.sqlite3_vfs_find.restype = c.POINTER(Layer)
    return library


def can_record() -> bool:
    """Not where the library is a hidden part of the interpreter."""
    return hasattr(c.CDLL(_sqlite3.__file__), "sqlite3_vfs_find")


@contextmanager
def recorded(folder: Path) -> Iterator[Recording]:
    """All that SQLite does in there while this lasts."""
    library = _library()
    below = library.sqlite3_vfs_find(None)
    recording = Recording(folder)
    watching = Layer()
    c.memmove(c.byref(watching), below, c.sizeof(Layer))
    keep: list[object] = []  # callbacks and tables that the library points to
    watching.name = b"watching"
    watching.open = OPEN(_opening(recording, below, keep))
    watching.delete = DELETE(_deleting(recording, below))
    folder_call = below.contents.get_call(below, b"openDirectory")
    noted = OPEN_FOLDER(_opening_folder(recording, OPEN_FOLDER(folder_call)))
    below.contents.set_call(below, b"openDirectory", c.cast(noted, POINTER))
    library.sqlite3_vfs_register(c.byref(watching), 1)
    try:
        yield recording
    finally:
        library.sqlite3_vfs_register(below, 1)
        library.sqlite3_vfs_unregister(c.byref(watching))
        below.contents.set_call(below, b"openDirectory", None)


def _opening(recording: Recording, below: Any, keep: list[object]) -> Callable[..., int]:
    def opening(_layer: int, path: int | None, handle: int, flags: int, out: Any) -> int:
        answer = below.contents.open(c.cast(below, POINTER), path, handle, flags, out)
        name = c.string_at(path).decode() if path else ""
        if answer == 0 and recording.is_about(name):
            recording.opened(name, handle)
            file = c.cast(handle, c.POINTER(File)).contents
            methods = _watched(recording, file.methods.contents)
            keep.append(methods)
            file.methods = c.pointer(methods)
        return int(answer)

    return opening


def _watched(recording: Recording, real: Methods) -> Methods:
    """The file's own methods, but for three that are noted first."""
    methods = Methods()
    c.memmove(c.byref(methods), c.byref(real), c.sizeof(Methods))
    acts, by_handle = recording.acts, recording.by_handle

    def write(handle: int, data: int, size: int, offset: int) -> int:
        acts.append(Write(by_handle[handle], offset, c.string_at(data, size)))
        return int(real.write(handle, data, size, offset))

    def truncate(handle: int, size: int) -> int:
        acts.append(Truncate(by_handle[handle], size))
        return int(real.truncate(handle, size))

    def sync(handle: int, flags: int) -> int:
        acts.append(Sync(by_handle[handle]))
        return int(real.sync(handle, flags))

    methods.write, methods.truncate, methods.sync = WRITE(write), TRUNCATE(truncate), SYNC(sync)
    return methods


def _deleting(recording: Recording, below: Any) -> Callable[..., int]:
    def deleting(_layer: int, path: bytes, sync_folder: int) -> int:
        recording.removed(path.decode())
        return int(below.contents.delete(c.cast(below, POINTER), path, sync_folder))

    return deleting


def _opening_folder(recording: Recording, real: Callable[..., int]) -> Callable[..., int]:
    """SQLite opens the folder for one purpose only: to sync it."""

    def opening_folder(path: bytes, handle: Any) -> int:
        if recording.is_about(path.decode()):
            recording.acts.append(SyncFolder())
        return int(real(path, handle))

    return opening_folder
