"""The messages' settings from their file, or every fault in it at once; and nothing secret said."""

import stat
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from supervisor.messages.settings import MessageSettings
from supervisor.messages.unsaid import IN_QUOTES, checked, name_told, without_names, without_words
from supervisor.settings.document import Document
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.load import read_document

OTHERS = 0o077

Understands = Callable[[Sequence[str]], Sequence[bool]]


def load(path: Path, understands: Understands) -> MessageSettings:
    """``understands``: which of these addresses could be sent to.

    Raises SettingsFaults with everything that is wrong, and no secret in it.
    """
    faults = list(_open_to_others(path))
    settings = None
    try:
        document = read_document(path)
    except SettingsFaults as found:
        faults += map(without_words, found.faults)
    else:
        faults += _not_understood(document, understands)
        settings, of_document = checked(document)
        faults += of_document
    if faults or settings is None:
        raise SettingsFaults(faults)
    return settings


def _open_to_others(path: Path) -> Iterator[Fault]:
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):
        return  # said when it is read
    if stat.S_ISREG(mode) and mode & OTHERS:
        yield Fault(
            str(path),
            None,
            "",
            f"Others than its owner may use this file: its mode is {stat.S_IMODE(mode):04o}.",
            "It may hold passwords; who reads them can send messages in your name.",
            f"chmod 600 {path}, and change the passwords if others may have read them.",
        )


def _not_understood(document: Document, understands: Understands) -> Iterator[Fault]:
    targets = document.data.get("targets")
    blocks = targets.items() if isinstance(targets, dict) else ()
    urls = {
        name: block["url"]
        for name, block in blocks
        if isinstance(block, dict) and isinstance(block.get("url"), str) and "://" in block["url"]
    }
    for name, is_understood in zip(urls, understands(list(urls.values())), strict=True):
        if not is_understood:
            yield without_names(document).fault(
                ("targets", name_told(document, name), "url"),
                "apprise understands no such address.",
                "Nothing could ever be sent to it.",
                IN_QUOTES,
            )
