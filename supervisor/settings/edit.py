"""Single values of a settings file changed where they stand; every other letter stays as it is.

PyYAML's marks say where a value begins and ends. Nothing is believed of an edit before the text has
been read again: it must differ from the old one in the asked path, and in nothing else.
"""

import json
import math
import re
from collections.abc import Iterator, Mapping
from copy import deepcopy
from decimal import Decimal
from typing import Any

import yaml

from supervisor.settings.document import Document, KeyPath, as_keys, dotted
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.scalars import Surprise, read_plain
from supervisor.settings.text import parse

DIGITS = 9  # that count in a number with a fraction: finer than any meter

Value = float | int | str  # true and false among them
Changes = Mapping[str, Value] | Mapping[KeyPath, Value]


def edited(text: str, changes: Changes, file: str = "settings") -> str:
    """The text with other values at dotted paths; as keys where a name has points of its own.

    A key that is not there yet joins its block: below the line that shows it behind a ``#``, or
    else as the last one. Numbers are written as plain decimals, fractions to ``DIGITS`` digits.
    A value that is there already is left as it is written.

    Raises SettingsFaults when the text has faults (references such as ``*x`` among them: an edit
    there would change two places), there is no such block, a path is none of a single value, or a
    value cannot be written in one line.
    """
    document = parse(text, file)
    if document.faults:
        raise SettingsFaults(document.faults)
    for path, value in changes.items():
        text, document = _with(text, document, as_keys(path), value)
    return text


def plain_decimal(value: float) -> str:
    """A number as it is written in a settings file: never an exponent. Raises ValueError for what
    is no number."""
    if not math.isfinite(value):
        raise ValueError("not a number that can be written")
    written = format(Decimal(f"{value + 0.0:.{DIGITS}g}"), "f")
    return written if "." in written else f"{written}.0"


def _with(text: str, document: Document, keys: KeyPath, value: Value) -> tuple[str, Document]:
    """One value more; with the document of the new text."""
    spellings = _spellings(document, keys, value)
    wanted = _wanted(document, keys, spellings[0], value)
    if _same(wanted, document.data):
        return text, document
    for candidate in _candidates(text, document, keys, spellings):
        if (read := _sound(candidate, document.file)) and _same(read.data, wanted):
            return candidate, read
    raise _refusal(
        document,
        keys,
        "This part of the file is written in a way that is not changed by program.",
        "Write one `key: value` a line there, or change it by hand.",
    )


def _spellings(document: Document, keys: KeyPath, value: Value) -> tuple[str, ...]:
    """How a value can be written, the plainest first."""
    if isinstance(value, str):
        if not value.isprintable():
            problem = "A text with line ends or characters that cannot be seen is not written."
            raise _refusal(document, keys, problem, "Leave them out.")
        return value, "'" + value.replace("'", "''") + "'", json.dumps(value, ensure_ascii=False)
    if isinstance(value, float):
        if not math.isfinite(value):
            problem = f"{value} is no number that can be measured."
            raise _refusal(document, keys, problem, "Find out where it comes from.")
        word = plain_decimal(value)
    else:
        word = json.dumps(value)
    if isinstance(meaning := read_plain(word), Surprise):
        raise _refusal(document, keys, meaning.problem, meaning.remedy)
    return (word,)


def _wanted(document: Document, keys: KeyPath, word: str, value: Value) -> dict[str, Any]:
    """The data as they shall be read after the edit."""
    data = deepcopy(document.data)
    block: Any = data
    for depth, key in enumerate(keys[:-1], start=1):
        block = block.get(key) if isinstance(block, dict) else None
        if not isinstance(block, dict):
            raise _no_block(document, keys, keys[:depth])
    if not keys or isinstance(block.get(keys[-1]), dict | list):
        raise _refusal(
            document,
            keys,
            f"{dotted(keys) or 'The file'} is no single value.",
            "Change its values one by one, or by hand.",
        )
    block[keys[-1]] = value if isinstance(value, str) else read_plain(word)
    return data


def _candidates(
    text: str, document: Document, keys: KeyPath, spellings: tuple[str, ...]
) -> Iterator[str]:
    """Texts that may be the edited one, the likeliest first."""
    block, begins = yaml.compose(text, Loader=yaml.SafeLoader), 0
    for key in keys[:-1]:
        name, block = _entry(block, key)
        begins = name.end_mark.index
    if (there := _entry(block, keys[-1])) is not None:
        yield from _replaced(text, there[1], spellings)
        return
    name = str(keys[-1])
    if not re.fullmatch(r"[A-Za-z_][\w.]*", name, re.ASCII):
        raise _refusal(document, keys, f"{name} is no name of a setting.", "Check the path.")
    for word in spellings:
        yield from _inserted(text, block, begins, f"{name}: {word}")


def _replaced(text: str, node: Any, spellings: tuple[str, ...]) -> Iterator[str]:
    """Quotes stay what they were. A text over several lines (| or >) is left alone."""
    if node.style in ("|", ">"):
        return
    quoted = [word for word in spellings[1:] if word[0] == node.style]
    for word in (*quoted, *spellings):
        yield text[: node.start_mark.index] + word + text[node.end_mark.index :]


def _inserted(text: str, block: Any, begins: int, entry: str) -> Iterator[str]:
    """``begins``: behind the block's name, before the remarks on its first key."""
    if block.flow_style:
        at = block.value[-1][1].end_mark.index if block.value else block.start_mark.index + 1
        yield text[:at] + (", " if block.value else "") + entry + text[at:]
        return
    indent = " " * block.value[0][0].start_mark.column
    shown = re.escape(f"{indent}# {entry.partition(':')[0]}:")
    optional = re.compile(rf"^{shown}(?=\s|$)", re.MULTILINE)
    for match in optional.finditer(text, begins, block.end_mark.index):
        yield _with_line(text, match.end(), indent + entry)
    yield _with_line(text, _last_leaf(block), indent + entry)


def _last_leaf(node: Any) -> int:
    """Where the last value of a block ends; the mark of a block itself is behind comments."""
    while isinstance(node, yaml.CollectionNode) and not node.flow_style:
        last = node.value[-1]
        node = last[1] if isinstance(node, yaml.MappingNode) else last
    index: int = node.end_mark.index
    is_behind_its_line = node.end_mark.column == 0 and getattr(node, "style", None) in ("|", ">")
    return index - 1 if is_behind_its_line else index


def _with_line(text: str, at: int, line: str) -> str:
    """One line more, below the one in which ``at`` lies."""
    end = re.compile(r"\r\n|\n|\r").search(text, at)
    if end is None:  # the last line, and it has no end
        usual = re.search(r"\r\n|\n|\r", text)
        return text + (usual[0] if usual else "\n") + line
    return text[: end.end()] + line + end[0] + text[end.end() :]


def _entry(block: Any, key: str | int) -> Any:
    """The nodes of a key and of its value in a block; None when it is not there."""
    return next((entry for entry in block.value if entry[0].value == key), None)


def _sound(text: str, file: str) -> Document | None:
    """The document; None when it has any fault."""
    try:
        document = parse(text, file)
    except SettingsFaults:
        return None
    return None if document.faults else document


def _same(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """As JSON, to which 1, 1.0 and true are three things."""
    return json.dumps(one, sort_keys=True) == json.dumps(other, sort_keys=True)


def _no_block(document: Document, keys: KeyPath, missing: KeyPath) -> SettingsFaults:
    return _refusal(
        document,
        keys,
        f"There is no block {dotted(missing)} in this file.",
        "Write that block first, as config/hut-bank.yaml shows it; or check the path.",
    )


def _refusal(document: Document, keys: KeyPath, problem: str, remedy: str) -> SettingsFaults:
    why = "A half or a wrong edit could move a limit that nobody meant to move; none was made."
    return SettingsFaults([document.fault(keys, problem, why, remedy)])
