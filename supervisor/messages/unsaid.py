"""What is wrong with the messages' settings, without a word of theirs that may be secret.

An address, or a part of one, may stand in any wrong place. So nothing is repeated but our own names
and words, what is close to one of them, numbers out of their range, and names of targets that are
some; all else is told by its line.
"""

import difflib
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from supervisor.messages.settings import NAME, MessageSettings, QuietHours, Target, Topic
from supervisor.settings.document import Document, KeyPath
from supervisor.settings.faults import Fault
from supervisor.settings.schema_faults import schema_faults

MODELS: tuple[type[BaseModel], ...] = (MessageSettings, Target, QuietHours)
WORDS = {*get_args(Topic), *(name for model in MODELS for name in model.model_fields)}
CLOSE = 0.7  # as close as a name must be to be the one that was meant
NUMBERS = ("greater_than", "less_than")  # what is wrong with them
MASK = "***"
HIDDEN = "What stands here cannot be used. It is not shown, as it may hold a password."
MISREAD = "What stands here can be read in two ways, or in none. It is not shown: see its line."
MISREAD_WHY = "Nothing may run on a setting that is misunderstood."
IN_QUOTES = "Write the address as one text in quotes, as apprise's documentation has it."
A_LIST = "Write a list of such words, like [trips, finished]."
TEXT_IN_QUOTES = "Put it in quotes if it is text, like a time. Leave empty keys out."
TWICE = "stands here a second time"
OF_ALL_THE_FILE = re.compile(r"(?!This is not YAML \()[A-Z]")  # a sign begins what is repeated


def checked(document: Document) -> tuple[MessageSettings | None, list[Fault]]:
    """The settings, or None; and every fault."""
    unread = [without_words(fault) for fault in document.faults]
    try:
        # As JSON, because strict Python input has no way to write a tuple down.
        settings = MessageSettings.model_validate_json(json.dumps(document.data))
    except ValidationError as error:
        errors = error.errors(include_url=False)
        return None, unread + list(_schema_faults(document, errors))
    return settings, unread


def without_words(fault: Fault) -> Fault:
    """Of one found while the text was read, and told with what stands there."""
    if not fault.path and OF_ALL_THE_FILE.match(fault.problem):
        return fault
    if TWICE in fault.problem:
        return replace(fault, path="", problem=f"This key {TWICE}.")
    return replace(fault, path="", problem=MISREAD, why=MISREAD_WHY, remedy=TEXT_IN_QUOTES)


def without_names(document: Document) -> Document:
    """The same places and nothing in them, by paths that can be told."""
    places = {_path(document, path): place for path, place in document.places.items()}
    refused = frozenset(_path(document, path) for path in document.refused)
    return Document(document.file, {}, places, (), refused)


def name_told(document: Document, name: str) -> str:
    """Of a target."""
    return str(_key(document, ("targets", name)))


def _schema_faults(document: Document, errors: list[ErrorDetails]) -> Iterator[Fault]:
    told = [_without_input(document, error) for error in errors]
    for fault in schema_faults(MessageSettings, without_names(document), (), told):
        is_hidden = MASK in fault.problem
        one = replace(fault, problem=HIDDEN) if is_hidden else fault
        if is_hidden and fault.path.endswith(".url"):
            one = replace(one, remedy=IN_QUOTES)
        yield replace(one, remedy=A_LIST) if fault.path.endswith(".tell") else one


def _without_input(document: Document, error: ErrorDetails) -> ErrorDetails:
    location = error["loc"]
    if error["type"] == "value_error" and location[2:] == ("[key]",):
        location = location[:2]  # the name itself
    is_number = error["type"].startswith(NUMBERS)
    told = error.copy()
    told["loc"] = _path(document, location)
    told["input"] = error["input"] if is_number else _masked(error["input"])
    return told


def _masked(given: Any) -> Any:
    if isinstance(given, str) and _is_ours(given):
        return given
    is_one = isinstance(given, str | int | float) and not isinstance(given, bool)
    return MASK if is_one else given


def _path(document: Document, path: KeyPath) -> KeyPath:
    return tuple(_key(document, path[: depth + 1]) for depth in range(len(path)))


def _key(document: Document, path: KeyPath) -> str | int:
    key = path[-1]
    is_target = len(path) == 2 and path[0] == "targets"
    if isinstance(key, int) or (_is_target(document, key) if is_target else _is_ours(key)):
        return key
    return f"(key in line {document.line(path)})"


def _is_ours(word: str) -> bool:
    return bool(difflib.get_close_matches(word.lower(), WORDS, n=1, cutoff=CLOSE))


def _is_target(document: Document, name: str) -> bool:
    targets = document.data.get("targets")
    block = targets.get(name) if isinstance(targets, dict) else None
    return bool(NAME.fullmatch(name)) and isinstance(block, dict) and "url" in block
