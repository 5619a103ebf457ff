"""A settings file replaced by its edited text: as a whole or not at all, and the old one kept."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from stat import S_IMODE

from supervisor.settings.edit import Changes, edited
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.load import settings_from
from supervisor.settings.source import read_text
from supervisor.settings.text import parse


def write_edited(path: Path, changes: Changes, at: datetime) -> Path | None:
    """Change values of a settings file (``edit.edited``), keeping its mode and owner.

    ``at``: the time of day, with a time zone. Of a link, the file that it leads to is replaced.
    Returns where the old file is kept, beside it as ``NAME.before-YYYYMMDDTHHMMSSZ``; None when
    all values were there already and nothing was written.

    Raises SettingsFaults, in words: as ``edited`` does; when the settings would not be accepted
    with the new values; when somebody else changed the file meanwhile; when the medium or the
    rights do not allow it. The file is then as it was, unless the words say otherwise. Raises
    ValueError for a time without zone.
    """
    if at.tzinfo is None:
        raise ValueError("a time without a time zone: the name of the kept file is in UTC")
    seen = _look(path)
    text = edited(seen.text, changes, str(path))
    settings_from(parse(text, f"{path} (as it would be)"))
    if text == seen.text:
        return None
    kept = seen.path.with_name(f"{seen.path.name}.before-{at.astimezone(UTC):%Y%m%dT%H%M%SZ}")
    with _in_words(path):
        _replace(seen, text, kept)
    _sync_folder(seen.path)
    return kept


@dataclass(frozen=True, slots=True)
class _Seen:
    """A file as it was read; equal to another look when nobody touched it."""

    path: Path
    text: str
    identity: tuple[int, int]
    changed_ns: int
    mode: int
    uid: int
    gid: int


def _look(path: Path) -> _Seen:
    text = read_text(path)
    target = Path(os.path.realpath(path))
    with _in_words(path):
        status = target.stat()
    return _Seen(
        target,
        text,
        (status.st_dev, status.st_ino),
        status.st_mtime_ns,
        S_IMODE(status.st_mode),
        status.st_uid,
        status.st_gid,
    )


def _replace(seen: _Seen, text: str, kept: Path) -> None:
    """The new file and the kept one are on the medium before the old name changes its meaning."""
    made: list[Path] = []
    try:
        descriptor, name = tempfile.mkstemp(prefix=f".{seen.path.name}.", dir=seen.path.parent)
        made.append(draft := Path(name))
        _write(descriptor, text, seen)
        descriptor = os.open(kept, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
        made.append(kept)
        _write(descriptor, seen.text, seen)
        if _look(seen.path) != seen:
            raise _refusal(
                seen.path,
                "Somebody else changed this file meanwhile.",
                "See what was changed, and do it again.",
            )
        os.replace(draft, seen.path)
        made.clear()
    finally:
        for path in made:
            with suppress(OSError):
                path.unlink()


def _write(descriptor: int, text: str, like: _Seen) -> None:
    with os.fdopen(descriptor, "wb") as file:
        file.write(text.encode())
        file.flush()
        status = os.fstat(descriptor)
        if (status.st_uid, status.st_gid) != (like.uid, like.gid):
            os.fchown(descriptor, like.uid, like.gid)
        os.fchmod(descriptor, like.mode)
        os.fsync(descriptor)


def _sync_folder(path: Path) -> None:
    try:
        descriptor = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
    except OSError as error:
        problem = f"It is replaced, but may not outlive a power cut: {error.strerror}."
        raise _refusal(
            path, problem, "Look at the disk, and at the file after a restart."
        ) from None


@contextmanager
def _in_words(path: Path) -> Iterator[None]:
    try:
        yield
    except FileExistsError as error:
        raise _refusal(
            path,
            f"There is a file {error.filename} already: an old one of this very second.",
            "Wait a second, and do it again.",
        ) from None
    except PermissionError:
        raise _refusal(
            path,
            "This file may not be replaced by the user who runs this.",
            "Do it as the owner of the file, who may write into its folder, or as root.",
        ) from None
    except OSError as error:
        raise _refusal(
            path, f"It could not be replaced: {error.strerror}.", "Check path and disk."
        ) from None


def _refusal(path: Path, problem: str, remedy: str) -> SettingsFaults:
    why = "Half a settings file, or one that loses another's change, is worse than an old one."
    return SettingsFaults([Fault(str(path), None, "", problem, why, remedy)])
