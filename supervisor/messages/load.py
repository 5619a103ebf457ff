"""The messages' settings from their file, or every fault in it at once; and nothing secret said."""

import re
import stat
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from supervisor.messages.settings import MessageSettings
from supervisor.settings.document import Document
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.load import read_document, validate

OTHERS = 0o077
ADDRESS = re.compile(r"([A-Za-z][A-Za-z0-9+.-]*://)(?!\*).*", re.DOTALL)
# Of what stands below a target, these sentences hold nothing of what is written there.
SAYS_NOTHING = re.compile(
    r"(\S+ is missing |url has [0-9]+ characters|url must be|A target's name must "
    r"|There is no setting |\S+ stands here a second time|apprise understands)"
)
SHOWS_LISTS_ONLY = re.compile(r"targets\.[^.]+\.tell(\[.*)?")
HIDDEN = "What stands here cannot be used. It is not shown, as it may hold a password."
A_LIST = "Write a list of such words, like [trips, finished]."
IN_QUOTES = "Write the address as one text in quotes, as apprise's documentation has it."

Understands = Callable[[Sequence[str]], Sequence[bool]]


def load(path: Path, understands: Understands) -> MessageSettings:
    """``understands``: which of these addresses could be sent to.

    Raises SettingsFaults with everything that is wrong, and no secret in it.
    """
    faults = list(_open_to_others(path))
    settings = None
    try:
        document = read_document(path)
        faults += _not_understood(document, understands)
        settings = validate(MessageSettings, document)
    except SettingsFaults as found:
        faults += found.faults
    if faults or settings is None:
        raise SettingsFaults(map(_without_secrets, faults)) from None
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
            yield document.fault(
                ("targets", name, "url"),
                "apprise understands no such address.",
                "Nothing could ever be sent to it.",
                IN_QUOTES,
            )


def _without_secrets(fault: Fault) -> Fault:
    """Every address, and whatever may be a part of a target."""
    masked = replace(
        fault,
        path=_masked(fault.path.removesuffix(".[key]")),
        problem=_masked(fault.problem),
        why=_masked(fault.why),
        remedy=_masked(fault.remedy),
    )
    is_of_target = fault.path.startswith("targets.") and not SHOWS_LISTS_ONLY.fullmatch(fault.path)
    if is_of_target and not SAYS_NOTHING.match(fault.problem):
        return replace(masked, problem=HIDDEN, remedy=IN_QUOTES)
    return replace(masked, remedy=A_LIST) if fault.path.endswith(".tell") else masked


def _masked(text: str) -> str:
    return ADDRESS.sub(r"\1*** (not shown)", text)
