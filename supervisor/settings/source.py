"""The text of a settings file: a regular, readable, small file in UTF-8."""

import codecs
import errno
import stat
from pathlib import Path

from supervisor.settings.faults import Fault, SettingsFaults

MOST_BYTES = 256 * 1024

_OTHER_ENCODINGS = ((codecs.BOM_UTF16_LE, "UTF-16"), (codecs.BOM_UTF16_BE, "UTF-16"))
_NO_FILE = {
    errno.ENOENT: ("There is no such file.", "Check the path; spelling and case matter."),
    errno.ENOTDIR: ("A part of this path is not a directory.", "Check the path."),
    errno.EACCES: (
        "This file may not be read by the user who runs this.",
        "Give that user the right to read it: chmod and chown do that.",
    ),
    errno.ENAMETOOLONG: ("This name is too long for a file.", "Check the path."),
    errno.ELOOP: ("This path leads in a circle of links.", "Check the links on the path."),
}


def read_text(path: Path) -> str:
    """The file's text. Raises SettingsFaults with the one reason why it cannot be read."""
    return decoded(_read_bytes(path), str(path))


def decoded(content: bytes, file: str) -> str:
    """Bytes as text. Raises SettingsFaults when they are none."""
    for mark, name in _OTHER_ENCODINGS:
        if content.startswith(mark):
            raise _refusal(
                file,
                1,
                f"This file is written in {name}, not in UTF-8.",
                "Save it as UTF-8 without byte order mark.",
            )
    if content.startswith(codecs.BOM_UTF8):
        raise _refusal(
            file,
            1,
            "This file begins with a byte order mark, three bytes that no editor shows.",
            "Save it as UTF-8 without byte order mark (BOM).",
        )
    if b"\x00" in content:
        raise _refusal(
            file,
            content.count(b"\n", 0, content.index(b"\x00")) + 1,
            "This is no text: it contains zero bytes.",
            "Name a settings file, not a program, picture or database.",
        )
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _refusal(
            file,
            content.count(b"\n", 0, error.start) + 1,
            f"Byte {content[error.start]:#04x} in this line is not valid UTF-8.",
            "Save the file as UTF-8, or write the character anew.",
        ) from None


def _read_bytes(path: Path) -> bytes:
    file = str(path)
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise _refusal(file, None, "This is a directory.", "Name the file inside it.")
        if not stat.S_ISREG(status.st_mode):
            raise _refusal(file, None, "This is not an ordinary file.", "Name an ordinary file.")
        with path.open("rb") as stream:
            content = stream.read(MOST_BYTES + 1)
    except OSError as error:
        reason = f"It cannot be read: {error.strerror}."
        problem, remedy = _NO_FILE.get(error.errno or 0, (reason, "Check path and disk."))
        raise _refusal(file, None, problem, remedy) from None
    except ValueError:
        raise _refusal(file, None, "This is no name of a file.", "Check the path.") from None
    if len(content) > MOST_BYTES:
        raise _refusal(
            file,
            None,
            f"This file is larger than {MOST_BYTES // 1024} KiB: no settings file is.",
            "Name the settings file, not a record or an image.",
        )
    return content


def _refusal(file: str, line: int | None, problem: str, remedy: str) -> SettingsFaults:
    why = "Without readable settings there are no limits, so nothing may run."
    return SettingsFaults([Fault(file, line, "", problem, why, remedy)])
