"""What one look at the machine says: a state, what was found, what that means, what to do."""

from dataclasses import dataclass
from enum import StrEnum


class State(StrEnum):
    """How a finding bears on running the daemon unattended; the worst comes first."""

    FAULT = "fault"
    WARNING = "warning"
    CANNOT_TELL = "cannot tell"  # an answer, and never counts as good
    NOTE = "note"
    GOOD = "good"


@dataclass(frozen=True, slots=True)
class Answer:
    """Of one check. ``about`` tells several answers of the same check apart."""

    state: State
    found: str
    means: str = ""
    remedy: str = ""
    about: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """An answer with the lasting name of its check and the group that it is shown in.

    These are the keys of ``holdwatch host-check --json``: ``id``, ``about``, ``group``, ``state``
    (a value of ``State``), ``found``, ``means`` and ``remedy``; empty: there is nothing to say.
    """

    id: str
    about: str
    group: str
    state: State
    found: str
    means: str
    remedy: str


def fault(found: str, means: str, remedy: str, about: str = "") -> Answer:
    return Answer(State.FAULT, found, means, remedy, about)


def warning(found: str, means: str, remedy: str, about: str = "") -> Answer:
    return Answer(State.WARNING, found, means, remedy, about)


def cannot_tell(found: str, means: str = "", remedy: str = "", about: str = "") -> Answer:
    return Answer(State.CANNOT_TELL, found, means, remedy, about)


def note(found: str, means: str = "", remedy: str = "", about: str = "") -> Answer:
    return Answer(State.NOTE, found, means, remedy, about)


def good(found: str, about: str = "") -> Answer:
    return Answer(State.GOOD, found, about=about)
