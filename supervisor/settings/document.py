"""A file read as plain data that remembers where every value stands."""

from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any

from supervisor.settings.faults import Fault

KeyPath = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Place:
    """File and line (from 1; None when the value stands in no line)."""

    file: str
    line: int | None


@dataclass(frozen=True)
class Document:
    """Plain data (text, numbers, true and false, lists, blocks) with the place of every path.

    ``faults`` are those found while reading; ``refused`` holds the paths whose value they made
    useless (None stands in ``data``). Use ``load.validate`` to turn a document into settings: it
    raises these faults together with its own.
    """

    file: str
    data: dict[str, Any]
    places: Mapping[KeyPath, Place]
    faults: tuple[Fault, ...] = ()
    refused: frozenset[KeyPath] = field(default_factory=frozenset)

    def place(self, path: KeyPath | str) -> Place:
        """Where a path stands; of a path that does not exist, where its nearest parent stands."""
        keys = as_keys(path)
        for length in range(len(keys), -1, -1):
            if keys[:length] in self.places:
                return self.places[keys[:length]]
        return Place(self.file, 1)

    def line(self, path: KeyPath | str) -> int | None:
        return self.place(path).line

    def fault(self, path: KeyPath | str, problem: str, why: str, remedy: str) -> Fault:
        """A fault at this path, with its file and line."""
        place = self.place(path)
        return Fault(place.file, place.line, dotted(as_keys(path)), problem, why, remedy)

    def with_overrides(
        self,
        overrides: Mapping[str, Any],
        *,
        file: str | None = None,
        lines: Mapping[str, int | None] | None = None,
    ) -> "Document":
        """A new document with other values at dotted paths, blocks made where they are missing.

        ``file`` and ``lines`` (by dotted path) say where the new values stand, for faults.
        Whether the paths exist is for ``load.validate`` to say, which also raises the faults of
        paths that lie within each other.
        """
        data = deepcopy(self.data)
        places = dict(self.places)
        source = file or f"{self.file} (overridden)"
        stands = {path: Place(source, (lines or {}).get(path)) for path in overrides}
        for path, value in overrides.items():
            keys = tuple(path.split("."))
            for made in _put(data, keys, deepcopy(value)):
                _forget(places, made)
                places[made] = stands[path]
        faults = (*self.faults, *_at_odds(overrides, stands))
        return Document(self.file, data, places, faults, self.refused)


def as_keys(path: KeyPath | str) -> KeyPath:
    if isinstance(path, str):
        return tuple(path.split(".")) if path else ()
    return path


def dotted(keys: KeyPath) -> str:
    """``("timeline", 2, "fault")`` as ``timeline[2].fault``."""
    text = "".join(f"[{key}]" if isinstance(key, int) else f".{key}" for key in keys)
    return text.removeprefix(".")


def _at_odds(overrides: Mapping[str, Any], stands: Mapping[str, Place]) -> Iterator[Fault]:
    """Of a block and a value within it only one could hold: whichever was written last."""
    for path in overrides:
        for block in overrides:
            if not path.startswith(f"{block}."):
                continue
            line = stands[block].line
            where = "" if line is None else f" (line {line})"
            is_out = overrides[block] is None
            what = "left out" if is_out else "replaced as a whole"
            yield Fault(
                stands[path].file,
                stands[path].line,
                path,
                f"{block} is {what} as well{where}.",
                "Which of the two holds would depend on their order, and the other would be lost.",
                "Take one of them out."
                if is_out
                else f"Take one of them out, or write this value within {block}.",
            )


def _put(data: dict[str, Any], keys: KeyPath, value: Any) -> Iterator[KeyPath]:
    """Set a value; yields every path that now holds something new."""
    block: dict[Any, Any] = data
    for depth, key in enumerate(keys[:-1], start=1):
        if not isinstance(block.get(key), dict):
            block[key] = {}
            yield keys[:depth]
        block = block[key]
    block[keys[-1]] = value
    yield keys


def _forget(places: dict[KeyPath, Place], path: KeyPath) -> None:
    for known in [p for p in places if p[: len(path)] == path]:
        del places[known]
