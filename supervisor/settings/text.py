"""YAML text to plain data with the line of every path; all that can be misread is refused.

Built on PyYAML's events rather than on its constructors: these show the words as they were
written, with their quotes, tags, anchors and lines.
"""

import re
from typing import Any

import yaml
import yaml.reader

from supervisor.settings.document import Document, KeyPath, Place, dotted
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.scalars import Surprise, read_plain
from supervisor.settings.syntax import place_of, too_deep, wording

DEEPEST = 16  # blocks inside blocks

# What no YAML file may hold, and line ends that editors do not count as such.
_INVISIBLE = re.compile(f"{yaml.reader.Reader.NON_PRINTABLE.pattern}|[\x7f-\x9f\u2028\u2029\ufeff]")


def parse(text: str, file: str) -> Document:
    """The document in a text.

    Faults of single values are kept in the document, so that the rest can still be checked.
    Raises SettingsFaults when the text as a whole cannot be understood.
    """
    if found := _INVISIBLE.search(text):
        line = text.count("\n", 0, found.start()) + 1
        problem = f"This line contains the invisible character U+{ord(found[0]):04X}."
        remedy = "Take it out; typing the line anew does it."
        raise SettingsFaults([Fault(file, line, "", problem, _UNREADABLE, remedy)])
    return _Reading(text, file).document()


class _Reading:
    """One pass through a text."""

    def __init__(self, text: str, file: str) -> None:
        self._loader: Any = yaml.SafeLoader(text)  # its event methods have no types
        self._file = file
        self._places: dict[KeyPath, Place] = {(): Place(file, 1)}
        self._faults: list[Fault] = []
        self._refused: set[KeyPath] = set()

    def document(self) -> Document:
        try:
            data = self._only_document()
        except yaml.MarkedYAMLError as error:
            mark = place_of(error)
            self._fault_at(mark, (), *wording(error, mark))
            raise SettingsFaults(self._faults) from None
        except (ValueError, OverflowError):  # PyYAML: an escape such as "\UFFFFFFFF"
            problem = "This line contains an escaped character that does not exist."
            remedy = "Write the character itself, or use single quotes."
            self._fault_at(self._loader.get_mark(), (), problem, _UNREADABLE, remedy)
            raise SettingsFaults(self._faults) from None
        if not isinstance(data, dict):
            raise SettingsFaults(self._faults)
        return Document(
            self._file, data, self._places, tuple(self._faults), frozenset(self._refused)
        )

    def _only_document(self) -> Any:
        self._next()  # start of the stream
        if isinstance(self._peek(), yaml.StreamEndEvent):
            self._fault_at(None, (), "There is nothing in this file.", _NO_LIMITS, _COPY)
            return None
        self._next()  # start of the document
        first = self._next()
        if not isinstance(first, yaml.MappingStartEvent):
            problem = "This file does not begin with a key and a colon."
            remedy = f"Write blocks of `key: value`. {_COPY}"
            self._fault_at(first.start_mark, (), problem, _NO_LIMITS, remedy)
            return None
        data = self._value(first, ())
        self._next()  # end of the document
        if not isinstance(self._peek(), yaml.StreamEndEvent):
            problem = "A second document begins here."
            why = "Of two documents in one file only one could be used."
            remedy = "Take the line with --- or ... out, or use two files."
            self._fault_at(self._peek().start_mark, (), problem, why, remedy)
        return data

    def _peek(self) -> Any:
        return self._loader.peek_event()

    def _next(self) -> Any:
        return self._loader.get_event()

    def _value(self, event: Any, path: KeyPath) -> Any:
        if len(path) > DEEPEST:
            self._fault_at(event.start_mark, path[:3], *too_deep(DEEPEST))
            raise SettingsFaults(self._faults)
        if isinstance(event, yaml.AliasEvent):
            self._refuse(event.start_mark, path, *_alias(f"*{event.anchor}"))
            return None
        if event.anchor is not None:
            self._refuse(event.start_mark, path, *_alias(f"&{event.anchor}"))
        if event.tag is not None:
            self._refuse(event.start_mark, path, *_tag(event.tag))
        if isinstance(event, yaml.MappingStartEvent):
            return self._block(path)
        if isinstance(event, yaml.SequenceStartEvent):
            return self._list(path)
        return self._scalar(event, path)

    def _scalar(self, event: Any, path: KeyPath) -> Any:
        if any("\ud800" <= c <= "\udfff" for c in event.value):
            self._refuse(event.start_mark, path, *_SURROGATE)
            return None
        if event.style or event.tag is not None:
            return event.value
        value = read_plain(event.value)
        if not isinstance(value, Surprise):
            return value
        if event.value:
            self._refuse(event.start_mark, path, value.problem, value.why, value.remedy)
        else:  # the parser finds the emptiness only further down
            self._refuse_at(self._places[path], path, value.problem, value.why, value.remedy)
        return None

    def _list(self, path: KeyPath) -> list[Any]:
        items: list[Any] = []
        while not isinstance(event := self._next(), yaml.SequenceEndEvent):
            item_path = (*path, len(items))
            self._places[item_path] = self._place(event.start_mark)
            items.append(self._value(event, item_path))
        return items

    def _block(self, path: KeyPath) -> dict[str, Any]:
        block: dict[str, Any] = {}
        while not isinstance(event := self._next(), yaml.MappingEndEvent):
            key = self._key(event, path)
            key_path = (*path, key)
            if key in block and key != _NO_NAME:
                self._refuse(event.start_mark, key_path, *self._twice(key_path))
                key_path = (*path, f"{key} (second)")
            self._places[key_path] = self._place(event.start_mark)
            if key in block:
                self._value(self._next(), key_path)
                continue
            block[key] = self._value(self._next(), key_path)
        return block

    def _key(self, event: Any, path: KeyPath) -> str:
        """The name of a key; of an impossible one a stand-in that is refused."""
        if not isinstance(event, yaml.ScalarEvent):
            self._places[(*path, _NO_NAME)] = self._place(event.start_mark)
            self._value(event, (*path, _NO_NAME))
            self._refuse(event.start_mark, (*path, _NO_NAME), *_KEY_IS_NO_WORD)
            return _NO_NAME
        name: str = event.value or _NO_NAME
        key_path = (*path, name)
        if event.anchor is not None:
            self._refuse(event.start_mark, key_path, *_alias(f"&{event.anchor}"))
        if event.tag is not None:
            self._refuse(event.start_mark, key_path, *_tag(event.tag))
        if not event.style and name == "<<":
            self._refuse(event.start_mark, key_path, *_alias("<<"))
        elif name == _NO_NAME or any("\ud800" <= c <= "\udfff" for c in name):
            self._refuse(event.start_mark, (*path, _NO_NAME), *_KEY_IS_NO_WORD)
            return _NO_NAME
        elif not event.style and not isinstance(meaning := read_plain(name), str):
            self._refuse(event.start_mark, key_path, *_key_is_no_word(name, meaning))
        return name

    def _twice(self, path: KeyPath) -> tuple[str, str, str]:
        return (
            f"{dotted(path)} stands here a second time; first in line {self._places[path].line}.",
            "Only one of the two could hold, and nobody could tell which.",
            "Take one of them out.",
        )

    def _place(self, mark: Any) -> Place:
        return Place(self._file, mark.line + 1)

    def _refuse(self, mark: Any, path: KeyPath, problem: str, why: str, remedy: str) -> None:
        self._refuse_at(self._place(mark), path, problem, why, remedy)

    def _refuse_at(self, place: Place, path: KeyPath, problem: str, why: str, remedy: str) -> None:
        self._refused.add(path)
        self._faults.append(Fault(place.file, place.line, dotted(path), problem, why, remedy))

    def _fault_at(self, mark: Any, path: KeyPath, problem: str, why: str, remedy: str) -> None:
        line = mark.line + 1 if mark else 1
        self._faults.append(Fault(self._file, line, dotted(path), problem, why, remedy))


_NO_NAME = "(no name)"
_NO_LIMITS = "Without settings there are no limits, so nothing may run."
_UNREADABLE = "From here on the file cannot be understood, so none of it is used."
_COPY = "Begin with a copy of config/hut-bank.yaml."

_KEY_IS_NO_WORD = (
    "This is not a name of a setting.",
    "A setting is found by its name, a word before a colon.",
    "Write `name: value`.",
)
_SURROGATE = (
    "This text contains half of an escaped character.",
    "It cannot be shown or stored.",
    "Write the character itself.",
)


def _key_is_no_word(name: str, meaning: object) -> tuple[str, str, str]:
    if isinstance(meaning, Surprise):
        return f"As a name of a setting: {meaning.problem}", meaning.why, "Choose another word."
    return f"{name} is not a word, so it cannot be the name of a setting.", *_KEY_IS_NO_WORD[1:]


def _alias(sign: str) -> tuple[str, str, str]:
    return (
        f"{sign} repeats a part of the file in another place; this file has no such references.",
        "A limit must stand where it holds, so that it can be read and checked there.",
        "Write the values out. If it is text, put it in quotes.",
    )


def _tag(tag: str) -> tuple[str, str, str]:
    return (
        f"{tag} is a tag that asks for another type; this file has none.",
        "Tags can turn a value into something else, and in some programs run code.",
        "Take it out. If it is text, put it in quotes.",
    )
