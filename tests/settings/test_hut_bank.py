"""The annotated example: complete, explained, and every single mistake in it is found."""

import re
from collections.abc import Iterator
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from supervisor.settings.hardware import CellChannel, Converter, Probe
from supervisor.settings.load import read_document, settings_from
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import Profile
from supervisor.settings.text import parse

KEY = re.compile(r"^( *)(?:# )?([a-z_]+):(?: |$)")


def test_loads(hut_settings: SupervisorSettings) -> None:
    assert hut_settings.bank.cells_in_parallel == 32
    assert hut_settings.channels.far_cell is not None


# Blocks under names of the user's own, as the example calls them.
NAMED: dict[type[BaseModel], tuple[str, ...]] = {
    Converter: ("cells",),
    Probe: ("sink",),
    Profile: ("practice_group",),
}
OF_PROFILES = ("overrides", "steps", "leave_out")  # tests/sizing/test_profiles.py has these


def models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for argument in get_args(annotation):
        yield from models_in(argument)


def all_paths(model: type[BaseModel], base: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    for name, field in model.model_fields.items():
        yield (*base, name)
        for block in models_in(field.annotation):
            yield from all_paths(block, (*base, name, *NAMED.get(block, ())))


def paths_in(text: str) -> dict[tuple[str, ...], int]:
    """Every key of the file by its indentation, those behind a # included, with its line index."""
    found: dict[tuple[str, ...], int] = {}
    parents: list[str] = []
    for index, line in enumerate(text.splitlines()):
        match = KEY.match(line)
        if match is None:
            continue
        del parents[len(match[1]) // 2 :]
        parents.append(match[2])
        found[tuple(parents)] = index
    return found


# far_cell has the keys of front_cell, and says so.
EXPLAINED_ELSEWHERE = {("channels", "far_cell", name) for name in CellChannel.model_fields}


@pytest.mark.parametrize("path", sorted(set(all_paths(SupervisorSettings)) - EXPLAINED_ELSEWHERE))
def test_every_key_is_there_and_explained(path: tuple[str, ...], hut_text: str) -> None:
    lines, found = hut_text.splitlines(), paths_in(hut_text)
    assert path in found, f"{'.'.join(path)} is not in the example"
    above = lines[found[path] - 1].strip()
    siblings = lines[found[path] - 2].strip()  # two keys may share one explanation
    assert above.startswith("# ") or siblings.startswith("# "), f"{'.'.join(path)}: {above!r}"


def test_every_key_of_the_models_has_a_description() -> None:
    def undescribed(model: type[BaseModel]) -> Iterator[str]:
        for name, field in model.model_fields.items():
            blocks = list(models_in(field.annotation))
            if not field.description and not (blocks and blocks[0].__doc__):
                yield f"{model.__name__}.{name}"
            for block in blocks:
                yield from undescribed(block)

    assert list(undescribed(SupervisorSettings)) == []


def test_defaults_shown_behind_a_hash_are_the_true_ones(
    hut_text: str, hut_settings: SupervisorSettings
) -> None:
    """Take every "# " away from a key with a value in a written block: nothing changes."""
    lines, found = hut_text.splitlines(), paths_in(hut_text)
    for path, index in found.items():
        block = path[:-1]
        if not block or not lines[found[block]].lstrip().startswith("#"):
            lines[index] = re.sub(r"^( *)# ([a-z_]+: .+)$", _bare_key, lines[index])
    text = "\n".join(lines)
    assert text.count("\n    gain: 1.0\n") == 2
    assert settings_from(parse(text, "hut.yaml")) == hut_settings


def _bare_key(match: re.Match[str]) -> str:
    _, _, value = match[2].partition(": ")
    is_value = value != "none" and re.fullmatch(r"[\w.\[\], ]+", value) and len(value.split()) < 3
    return f"{match[1]}{match[2]}" if is_value else match[0]


def written_paths(hut_text: str) -> list[tuple[str, ...]]:
    data = parse(hut_text, "hut.yaml").data

    def walk(block: dict[str, Any], base: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
        for key, value in block.items():
            yield (*base, key)
            if isinstance(value, dict):
                yield from walk(value, (*base, key))

    return list(walk(data, ()))


def test_every_renamed_key_is_found(hut_text: str, faults_in: Any) -> None:
    document = parse(hut_text, "hut.yaml")
    for path in written_paths(hut_text):
        if path[:-1] in (("converters",), ("profiles",)) or "overrides" in path[:-1]:
            continue  # names of the builder's own
        line = document.line(path)
        assert line
        lines = hut_text.splitlines()
        lines[line - 1] = lines[line - 1].replace(f"{path[-1]}:", f"{path[-1]}x:", 1)
        faults = faults_in("\n".join(lines))
        told = [f for f in faults if f.path == ".".join([*path[:-1], f"{path[-1]}x"])]
        assert [f.line for f in told] == [line], path
        assert f"Write {path[-1]}." in told[0].remedy


def test_every_deleted_key_is_found_or_has_a_default(hut_text: str, faults_in: Any) -> None:
    document = parse(hut_text, "hut.yaml")
    required = {path for path in all_paths(SupervisorSettings) if is_required(path)}
    assert len(required) > 30
    for path in written_paths(hut_text):
        if path not in required:
            continue
        told = {(f.path, f.line): f.problem for f in faults_in(without(hut_text, path))}
        parent_line = document.line(path[:-1])
        missing = told.get((".".join(path), parent_line), "")
        emptied = told.get((".".join(path[:-1]), parent_line), "")  # it was the only key
        assert "is missing" in missing or "no value" in emptied, path


def is_required(path: tuple[str, ...]) -> bool:
    model: Any = SupervisorSettings
    for key in path[:-1]:
        if model is not None and key in model.model_fields:
            blocks = list(models_in(model.model_fields[key].annotation))
            model = blocks[0]
    return bool(model.model_fields[path[-1]].is_required())


def without(text: str, path: tuple[str, ...]) -> str:
    """The text without a key and all that stands below it; lines above keep their numbers."""
    lines = text.splitlines()
    start = (parse(text, "hut.yaml").line(path) or 0) - 1
    indent = len(lines[start]) - len(lines[start].lstrip())
    end = start + 1
    while end < len(lines):
        line = lines[end]
        if line.strip() and len(line) - len(line.lstrip()) <= indent:
            break
        end += 1
    return "\n".join([*lines[:start], *lines[end:]])


@pytest.mark.parametrize("wrong", ["[1, 2, 3]", "{x: 1}", "true", "3,6", "off", "~", "'?'"])
def test_every_value_of_a_wrong_type_is_found(wrong: str, hut_text: str, faults_in: Any) -> None:
    document = parse(hut_text, "hut.yaml")
    free_text = {"name", "uncommissioned_reason", "listen", "about"} if wrong == "'?'" else set()
    checked = 0
    for path in written_paths(hut_text):
        value: Any = document.data
        for key in path:
            value = value[key]
        if isinstance(value, dict) or path[-1] in free_text or {*OF_PROFILES} & {*path}:
            continue
        line = document.line(path)
        assert line
        lines = hut_text.splitlines()
        head = lines[line - 1].split(":")[0]
        lines[line - 1] = f"{head}: {wrong}"
        assert [f.line for f in faults_in("\n".join(lines)) if f.line == line] == [line], path
        checked += 1
    assert checked > 40


def test_a_block_that_is_a_number_is_found(hut_text: str, faults_in: Any) -> None:
    document = parse(hut_text, "hut.yaml")
    for path in written_paths(hut_text):
        value: Any = document.data
        for key in path:
            value = value[key]
        if not isinstance(value, dict) or "overrides" in path[:-1]:
            continue
        faults = faults_in(with_number(hut_text, path))
        assert (document.line(path), ".".join(path)) in {(f.line, f.path) for f in faults}


def with_number(text: str, path: tuple[str, ...]) -> str:
    line = parse(text, "hut.yaml").line(path) or 0
    head = text.splitlines()[line - 1]
    lines = without(text, path).splitlines()
    return "\n".join([*lines[: line - 1], f"{head} 3", *lines[line - 1 :]])


def test_lines_survive_reading_from_the_file(hut_path: Any, hut_text: str) -> None:
    document = read_document(hut_path)
    assert hut_text.splitlines()[(document.line("contactor.drive") or 0) - 1] == "  drive: pulse"
