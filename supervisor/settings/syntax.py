"""YAML's syntax errors in words for somebody who only wants to change a number."""

from typing import Any

import yaml

_NOT_USED = "From here on the file cannot be understood, so none of it is used."

# Each: part of PyYAML's message, what is wrong, what to do.
_WORDS = (
    (
        r"'\t'",
        "There is a tab where only spaces may stand",
        "Replace the tab by spaces; most editors can do that for the whole file.",
    ),
    (
        "mapping values are not allowed",
        "There is a colon where no new key can begin",
        "Either the line stands further right than the lines it belongs to, or its text contains "
        "': ' and must be put in quotes.",
    ),
    (
        "could not find expected ':'",
        "A key without a colon",
        "Write `key: value`, with a space after the colon.",
    ),
    (
        "expected <block end>",
        "This line does not stand below the lines it belongs to",
        "Give all keys of one block the same number of spaces. After a quoted text only a # "
        "comment may follow.",
    ),
    (
        "found unexpected end of stream",
        "A quotation mark is opened and never closed",
        "Close it, or take it out.",
    ),
    (
        "found unexpected document separator",
        "A quotation mark is opened and not closed before --- or ...",
        "Close it, or take it out.",
    ),
    (
        "escape",
        "A backslash in double quotes begins a code that does not exist",
        "Use single quotes, or write the backslash twice.",
    ),
    (
        "expected ',' or ']'",
        "A list [ ... ] is not closed, or a comma is missing",
        "Write [1.0, 4.05].",
    ),
    (
        "expected ',' or '}'",
        "A block { ... } is not closed, or a comma is missing",
        "Write one key a line instead, without braces.",
    ),
    (
        "alphabetic or numeric character",
        "A word begins with * or &",
        "Put it in quotes if it is text; references are not used in this file.",
    ),
    (
        "cannot start any token",
        "There is a character that cannot begin a word",
        "Put the text in quotes.",
    ),
    (
        "sequence entries are not allowed",
        "There is a list entry (-) where none can stand",
        "Begin the list in a line of its own, below its key.",
    ),
    (
        "undefined tag handle",
        "There is a tag (!) of an unknown kind",
        "Take it out, or put the text in quotes.",
    ),
)


# Errors that are found only where the text ends; they began at the mark of their context.
_FOUND_LATE = ("unexpected end of stream", "unexpected document separator", "expected ':'")


def place_of(error: yaml.MarkedYAMLError) -> Any:
    """Where to look: a mark with line and column, or None."""
    late = any(part in (error.problem or "") for part in _FOUND_LATE)
    first, second = error.problem_mark, error.context_mark
    return (second or first) if late else (first or second)


def wording(error: yaml.MarkedYAMLError, mark: Any) -> tuple[str, str, str]:
    """Problem, why and remedy of a syntax error, with its line and column."""
    said = error.problem or "no reason given"
    problem, remedy = next(
        ((problem, remedy) for part, problem, remedy in _WORDS if part in said),
        (f"This is not YAML ({said})", "Compare the line with config/hut-bank.yaml."),
    )
    if mark is not None:
        problem += f": line {mark.line + 1}, column {mark.column + 1}"
    return f"{problem}.", _NOT_USED, remedy


def too_deep(levels: int) -> tuple[str, str, str]:
    return (
        f"Here are more than {levels} blocks or lists inside one another.",
        _NOT_USED,
        "No file of ours is nearly so deep: look for brackets or dashes that do not belong.",
    )
