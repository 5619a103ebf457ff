"""Putting files of ours in place, and taking them away: all is looked at before one is touched."""

import os
import tempfile
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from supervisor.host.unit_files import Found, State, Wanted, look, look_around

FILE_MODE, FOLDER_MODE = 0o644, 0o755
# Below the root; others put things there too, and they stay even when they are empty.
FOLDERS_OF_ALL = {
    "etc",
    *(
        f"{base}/{folder}"
        for base in ("usr", "usr/local")
        for folder in ("lib", "share", "share/man")
    ),
}


@dataclass(frozen=True, slots=True)
class Hindrance:
    """Why nothing is done, and what to do."""

    path: Path
    problem: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Plan:
    """What a run would do below ``root``; nothing at all while there is a hindrance."""

    root: Path
    found: Sequence[Found]
    folders: Sequence[Path] = ()
    hindrances: Sequence[Hindrance] = ()

    @property
    def changes(self) -> list[Found]:
        return [one for one in self.found if one.state in (State.MISSING, State.OTHER_VERSION)]


@dataclass
class Done:
    """How far it came; ``error`` is None when it came to its end."""

    paths: list[Path] = field(default_factory=list)
    error: OSError | None = None


def plan(
    root: Path, wanted: Iterable[Wanted], folders: Iterable[str] = (), *, as_root: bool = False
) -> Plan:
    """``folders``: to be made beside those of the files, below the root. ``as_root``: as root will
    find it, whoever asks."""
    found = [look_around(root, one) for one in wanted]
    hindrances = [Hindrance(f.path, f"{f.state}: {f.detail}", f.remedy) for f in found if f.hinders]
    whole = Plan(root, found, [root / folder for folder in folders])
    missing = [folder for folder in whole.folders if not folder.is_dir()]
    for folder in dict.fromkeys([*(one.path.parent for one in whole.changes), *missing]):
        hindrances += _hindrances_of_folder(root, folder, as_root=as_root)
    return Plan(root, found, whole.folders, list(dict.fromkeys(hindrances)))


def plan_removal(
    root: Path, wanted: Iterable[Wanted], folders: Iterable[str] = (), *, as_root: bool = False
) -> Plan:
    """What is ours and as we wrote it goes; the rest is in ``found`` to be told."""
    found = [look(root, one) for one in wanted]
    hindrances: list[Hindrance] = []
    for folder in dict.fromkeys(one.path.parent for one in found if one.is_ours):
        hindrances += _hindrances_of_folder(root, folder, as_root=as_root)
    return Plan(root, found, [root / folder for folder in folders], hindrances)


def put(plan: Plan) -> Done:
    """Every change is written beside its place first, and comes into it whole or not at all."""
    done, beside = Done(), list[tuple[Path, Path]]()
    made: list[Path] = []
    try:
        for folder in plan.folders:
            _make_folder(folder, made)
        for one in plan.changes:
            _make_folder(one.path.parent, made)
            beside.append((_written_beside(one.path, one.wanted.content), one.path))
        for draft, path in beside:
            os.replace(draft, path)
            done.paths.append(path)
    except OSError as error:
        done.error = error
    finally:
        for draft, _ in beside:
            with suppress(OSError):  # most have moved to their place
                draft.unlink()
        if len(done.paths) < len(plan.changes):
            _remove_empty(reversed(made))
    return done


def remove(plan: Plan) -> Done:
    """Ours, then the folders that are empty now and serve nobody else."""
    done = Done()
    try:
        for one in plan.found:
            if one.is_ours:
                one.path.unlink(missing_ok=True)
                done.paths.append(one.path)
    except OSError as error:
        done.error = error
    for folder in dict.fromkeys([*(path.parent for path in done.paths), *plan.folders]):
        _remove_empty(_up_to_shared(plan.root, folder))
    return done


def _hindrances_of_folder(root: Path, folder: Path, *, as_root: bool) -> list[Hindrance]:
    there = _nearest(folder)
    if not there.is_dir():
        return [Hindrance(there, "in the way: a folder belongs there", f"move {there} away")]
    if not there.resolve().is_relative_to(root.resolve()):
        problem = f"it is a link to {there.resolve()}, outside of {root}"
        return [Hindrance(there, problem, "replace the link by a folder")]
    if os.statvfs(there).f_flag & os.ST_RDONLY:
        return [Hindrance(there, "its file system is read-only", "mount it to be written")]
    if not as_root and not os.access(there, os.W_OK | os.X_OK, effective_ids=True):
        return [Hindrance(there, "you may not write there", "do it as its owner, or as root")]
    return []


def _nearest(folder: Path) -> Path:
    """The folder, or the nearest above it that is there."""
    return next(path for path in (folder, *folder.parents) if os.path.lexists(path))


def _make_folder(folder: Path, made: list[Path]) -> None:
    """For everybody to pass, whatever the umask. What was made is added, the outermost first."""
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    for path in reversed(missing):
        path.mkdir()
        made.append(path)
        path.chmod(FOLDER_MODE)


def _written_beside(path: Path, content: bytes) -> Path:
    descriptor, name = tempfile.mkstemp(prefix=".holdwatch-", dir=path.parent)
    draft = Path(name)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
            os.fchmod(file.fileno(), FILE_MODE)
    except BaseException:
        draft.unlink(missing_ok=True)
        raise
    return draft


def _up_to_shared(root: Path, folder: Path) -> list[Path]:
    shared = {root / below for below in FOLDERS_OF_ALL} | {root}
    ours = []
    while folder not in shared and folder != folder.parent:
        ours.append(folder)
        folder = folder.parent
    return ours


def _remove_empty(folders: Iterable[Path]) -> None:
    for folder in folders:
        with suppress(OSError):
            folder.rmdir()
