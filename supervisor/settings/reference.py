"""The reference of all settings, from the models themselves."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple, get_origin

from pydantic.fields import FieldInfo

from supervisor.settings.document import KeyPath, dotted
from supervisor.settings.expected import Spot, locate, shown
from supervisor.settings.model import SupervisorSettings

NAME = "NAME"  # stands for a name of the user's own
HEAD = """\
# Settings

Every key of a settings file, by block. [hut-bank.yaml](hut-bank.yaml) is an example with a reason
beside each. `holdwatch check FILE` tells every fault of a file, and what its rules promise.

Made by `holdwatch check --reference`; tests keep it in step with the code.
"""
TABLE = ("| key | value | left out | meaning |", "|---|---|---|---|")


class Key(NamedTuple):
    """A key that holds a value, no block."""

    spot: Spot
    info: FieldInfo

    @property
    def path(self) -> KeyPath:
        return self.spot.path

    @property
    def description(self) -> str:
        return self.info.description or ""

    def kind(self) -> str:
        """Type, range and unit. A choice of numbers, and a list, do not say their unit."""
        words = self.spot.expected()
        unit = self.spot.unit
        return words if not unit or unit in words else f"{words}, in {unit}"

    def left_out(self) -> str:
        """What holds when the key is left out."""
        return "must be given" if self.info.is_required() else value_words(self.info.default)


def keys_below(path: KeyPath) -> Iterator[Key]:
    """Every key of a block and of the blocks in it."""
    for block in _blocks(locate(SupervisorSettings, path)):
        yield from _keys(block)


def value_words(value: Any) -> str:
    """A value as one would write it."""
    if value is None:
        return "nothing"
    if isinstance(value, tuple):
        return f"[{', '.join(map(shown, value))}]"
    return shown(value)


def reference(notes: Mapping[str, str]) -> str:
    """Markdown of all settings. ``notes``: a sentence or two more on a block, by its path."""
    blocks = _blocks(locate(SupervisorSettings, ()))
    return "\n".join([HEAD, *(_section(block, notes) for block in blocks)])


def _blocks(block: Spot) -> Iterator[Spot]:
    """A block and those in it, in the order of the models."""
    yield block
    for spot in _spots(block):
        if spot.is_block:
            yield from _blocks(_one_of(spot))


def _keys(block: Spot) -> Iterator[Key]:
    return (Key(spot, _info(spot)) for spot in _spots(block) if not spot.is_block)


def _spots(block: Spot) -> Iterator[Spot]:
    for name in block.annotation.model_fields:
        yield locate(SupervisorSettings, (*block.path, name))


def _one_of(spot: Spot) -> Spot:
    """The block itself; of named blocks, one of them."""
    is_named = get_origin(spot.annotation) is dict
    return locate(SupervisorSettings, (*spot.path, NAME)) if is_named else spot


def _info(spot: Spot) -> FieldInfo:
    parent = locate(SupervisorSettings, spot.path[:-1])
    info: FieldInfo = parent.annotation.model_fields[spot.path[-1]]
    return info


def _section(block: Spot, notes: Mapping[str, str]) -> str:
    path = dotted(block.path)
    lines = [f"## `{path}`", "", _about(block, notes.get(path, ""))] if path else ["## At the top"]
    rows = [_row(key) for key in _keys(block)]
    if rows:
        lines += ["", *TABLE, *rows]
    return "\n".join(lines) + "\n"


def _about(block: Spot, note: str) -> str:
    return " ".join(filter(None, [block.description, note, _whether_needed(block)]))


def _whether_needed(block: Spot) -> str:
    if block.key == NAME:
        return "As many such blocks as there are, each under a name of your own."
    info = _info(block)
    if info.is_required():
        return ""
    return "May be left out." if info.default is None else "May be left out: all has defaults."


def _row(key: Key) -> str:
    cells = (f"`{dotted(key.path)}`", key.kind(), key.left_out(), key.description)
    return f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"
