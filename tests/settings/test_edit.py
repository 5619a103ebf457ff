"""Values changed in place: what is asked for is there, and every other letter is where it was."""

import math
import re
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import assume, event, example, given, settings
from hypothesis import strategies as st

from supervisor.settings.document import Document, KeyPath
from supervisor.settings.edit import DIGITS, Value, edited, plain_decimal
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.load import settings_from
from supervisor.settings.text import parse

HUT = (Path(__file__).parents[2] / "config" / "hut-bank.yaml").read_text(encoding="utf-8")


def leaves(data: Any, path: KeyPath = ()) -> dict[KeyPath, Value]:
    """All single values in blocks, by their keys."""
    found: dict[KeyPath, Value] = {}
    for key, value in data.items():
        if isinstance(value, dict):
            found |= leaves(value, (*path, key))
        elif not isinstance(value, list):
            found[(*path, key)] = value
    return found


def with_value(data: dict[str, Any], keys: KeyPath, value: Value) -> dict[str, Any]:
    data = deepcopy(data)
    block: Any = data
    for key in keys[:-1]:
        block = block[key]
    block[keys[-1]] = value
    return data


def fault_of(text: str, changes: dict[Any, Any]) -> Fault:
    with pytest.raises(SettingsFaults) as refused:
        edited(text, changes, "t.yaml")
    (fault,) = refused.value.faults
    assert fault.file == "t.yaml"
    assert fault.problem
    assert fault.why
    assert fault.remedy
    return fault


HUT_DOCUMENT = parse(HUT, "hut.yaml")
HUT_LEAVES = leaves(HUT_DOCUMENT.data)
NUMBERS = st.floats(-1e6, 1e6).map(lambda value: float(f"{value:.{DIGITS}g}")).filter(
    lambda value: value == 0 or abs(value) > 1e-9
)  # fmt: skip
WORDS = st.text(st.characters(exclude_categories=["C", "Z"]) | st.just(" "), max_size=40)


def other_values(old: Value) -> st.SearchStrategy[Value]:
    """Of the same kind."""
    if isinstance(old, bool):
        return st.booleans()
    if isinstance(old, str):
        return WORDS
    return st.integers(-(10**9), 10**9) if isinstance(old, int) else NUMBERS


@settings(max_examples=30)  # each reads a long file some times
@given(st.data())
def test_any_edits_of_the_example_keep_all_other_lines(data: st.DataObject) -> None:
    paths = data.draw(st.lists(st.sampled_from(list(HUT_LEAVES)), max_size=3, unique=True))
    changes = {path: data.draw(other_values(HUT_LEAVES[path])) for path in paths}
    new = edited(HUT, changes)
    wanted = HUT_DOCUMENT.data
    for path, value in changes.items():
        wanted = with_value(wanted, path, value)
    assert parse(new, "new.yaml").data == wanted
    touched = {HUT_DOCUMENT.line(path) for path in paths}
    old_lines, new_lines = HUT.split("\n"), new.split("\n")
    assert len(new_lines) == len(old_lines)
    for number, (old_line, new_line) in enumerate(zip(old_lines, new_lines, strict=True), start=1):
        assert old_line == new_line or number in touched
        assert old_line.partition(":")[0] == new_line.partition(":")[0]


OPTIONAL = [
    ("channels.front_cell.gain", 1.00213, "    # gain: 1.0"),
    ("channels.front_cell.offset_volts", -0.0012, "    # offset_volts: 0.0"),
    ("channels.front_cell.gain_uncertainty_percent", 0.11, "    # gain_uncertainty_percent: none"),
    ("channels.far_cell.gain", 0.99871, "    range_volts: 4.096"),
    ("bank.fastest_rise_volts_per_second", 0.01, "  # fastest_rise_volts_per_second: 0.02"),
    ("charge.regulated", True, "  # regulated: false"),
    ("protection.overvoltage.confirm", 2, "    # confirm: 3"),
    ("protection.loop_overrun.in_seconds", 5.0, "    # in_seconds: 10.0"),
    ("web.listen", "0.0.0.0", "  # listen: 127.0.0.1"),
]  # fmt: skip


@pytest.mark.parametrize(("path", "value", "above"), OPTIONAL)
def test_a_missing_key_joins_its_block(path: str, value: Value, above: str) -> None:
    new = edited(HUT, {path: value})
    document = parse(new, "new.yaml")
    at = (document.line(path) or 0) - 1
    lines = new.splitlines(keepends=True)
    assert lines[at - 1] == above + "\n"
    assert lines[at].startswith(re.match(" *", above)[0] + path.rpartition(".")[2] + ": ")  # type: ignore[index]
    assert "".join(lines[:at] + lines[at + 1 :]) == HUT
    assert document.data == with_value(HUT_DOCUMENT.data, tuple(path.split(".")), value)


def test_a_calibration_is_loaded_as_it_was_written() -> None:
    changes = {
        "channels.front_cell.gain": 1.0021345,
        "channels.front_cell.offset_volts": -0.00001234,
        "channels.front_cell.gain_uncertainty_percent": 0.11,
        "channels.shunt.gain": 0.99,
        "channels.shunt.shunt_accuracy_percent": 0.5,
    }
    old = settings_from(HUT_DOCUMENT).model_dump()
    new = settings_from(parse(edited(HUT, changes), "new.yaml")).model_dump()
    assert {
        ".".join(map(str, path)): value
        for path, value in leaves(new).items()
        if value != leaves(old)[path]
    } == changes


def test_of_a_profile_by_its_keys() -> None:
    path = ("profiles", "final_hold", "overrides", "channels.shunt.rated_amperes")
    new = edited(HUT, {path: 25})
    assert (
        HUT.replace("channels.shunt.rated_amperes: 20", "channels.shunt.rated_amperes: 25") == new
    )
    path = ("profiles", "final_hold", "overrides", "channels.shunt.gain")
    last = "          time_constant_seconds: 60\n"
    new = edited(HUT, {path: 0.998})
    assert HUT.replace(last, last + "      channels.shunt.gain: 0.998\n") == new


# text, path, value, the text then
WRITTEN = [
    ("a: 1 # one\n", "a", 2, "a: 2 # one\n"),
    ("a:   1.50   # one\n", "a", 0.00001, "a:   0.00001   # one\n"),
    ("a: 3.60\n", "a", 3.6, "a: 3.60\n"),
    ("a: 100\n", "a", 100.5, "a: 100.5\n"),
    ("a: 100\n", "a", 120.0, "a: 120.0\n"),
    ("a: 0x48 # to GND\n", "a", 73, "a: 73 # to GND\n"),
    ("a: true\n", "a", False, "a: false\n"),
    ("a: true\n", "a", 1, "a: 1\n"),
    ("a: \"0-1\" # pair\n", "a", "2-3", "a: \"2-3\" # pair\n"),
    ("a: '0-1'\n", "a", "it's", "a: 'it''s'\n"),
    ("a: \"x\"\n", "a", 'a "b" \\ c', 'a: "a \\"b\\" \\\\ c"\n'),
    ("a: '0-1'\n", "a", 5, "a: 5\n"),
    ("a: word\n", "a", "two words", "a: two words\n"),
    ("a: word\n", "a", "off", "a: 'off'\n"),
    ("a: word\n", "a", "3.6", "a: '3.6'\n"),
    ("a: word\n", "a", "", "a: ''\n"),
    ("a: word\n", "a", "x: y # z", "a: 'x: y # z'\n"),
    ("a: two\n  lines # c\nb: 1\n", "a", "one", "a: one # c\nb: 1\n"),
    ("{a: 1, b: [2, 3]}\n", "a", 7, "{a: 7, b: [2, 3]}\n"),
    ("{a: x}\n", "a", "y, z", "{a: 'y, z'}\n"),
    ("{a: 1}\n", "b", 2, "{a: 1, b: 2}\n"),
    ("a: {} # none\n", "a.b", 2, "a: {b: 2} # none\n"),
    ("a: {b: [1, 2] , }\n", "a.c", 2, "a: {b: [1, 2], c: 2 , }\n"),
    ("a: {\n  b: 1 # c\n}\n", "a.c", 2, "a: {\n  b: 1, c: 2 # c\n}\n"),
    ("a: 1", "b", 2, "a: 1\nb: 2"),
    ("a: 1 # x", "b", 2, "a: 1 # x\nb: 2"),
    ("a:\r\n  b: 1 # x\r\n# end\r\n", "a.c", 2, "a:\r\n  b: 1 # x\r\n  c: 2\r\n# end\r\n"),
    ("a:\r\n  b: 1", "a.c", 2, "a:\r\n  b: 1\r\n  c: 2"),
    ("a: 1 # \u00e9\U0001d11e\nb: '\U0001d11e' # x\n", "b", "y",
     "a: 1 # \u00e9\U0001d11e\nb: 'y' # x\n"),
    ("a:\n    b:\n      c: 1\n\n    # about d\n\ne: 1\n", "a.d", 2,
     "a:\n    b:\n      c: 1\n    d: 2\n\n    # about d\n\ne: 1\n"),
    ("a:\n  b: |\n    text\n\ne: 1\n", "a.d", 2, "a:\n  b: |\n    text\n\n  d: 2\ne: 1\n"),
    ("a:\n  b:\n  - 1\n  - 2 # two\ne: 1\n", "a.d", 2,
     "a:\n  b:\n  - 1\n  - 2 # two\n  d: 2\ne: 1\n"),
    ("a:\n  # d: 1\n  b: 1\n  # d: 1, too\n", "a.d", 2,
     "a:\n  # d: 1\n  d: 2\n  b: 1\n  # d: 1, too\n"),
    ("a:\n  b:\n    c: 1\n  # d: 1\n    e: 1\n", "a.d", 2,
     "a:\n  b:\n    c: 1\n  # d: 1\n    e: 1\n  d: 2\n"),
    ("a:\n  # depth: 1\n  b: 1\nd:\n  # c: 1\n  e: 1\n", "a.c", 2,
     "a:\n  # depth: 1\n  b: 1\n  c: 2\nd:\n  # c: 1\n  e: 1\n"),
    ("---\na: 1\n...\n", "b", 2, "---\na: 1\nb: 2\n...\n"),
    ("a: 1\n? b\n: 2\n", "b", 3, "a: 1\n? b\n: 3\n"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "path", "value", "then"), WRITTEN)
def test_written(text: str, path: str, value: Value, then: str) -> None:
    assert edited(text, {path: value}) == then
    assert edited(then, {path: value}) == then


# text, changes, words of the problem or the remedy
REFUSED = [
    ("a: &x 1\nb: *x\nc: 1\n", {"c": 2}, None),
    ("a: {b: 1}\n<<: {c: 1}\n", {"a.b": 2}, "<< repeats"),
    ("a: 1\na: 2\n", {"a": 3}, "second time"),
    ("a: off\n", {"a": 3}, "switch"),
    ("a: [1\n", {"a": 3}, "not closed"),
    ("a: 1\n", {"b.c": 3}, "no block b in this file"),
    ("a: 1\n", {"a.b": 3}, "no block a in this file"),
    ("a: {b: {}}\n", {"a.b.c.d": 3}, "no block a.b.c in this file"),
    ("a: {b: 1}\n", {"a": 3}, "a is no single value"),
    ("a: [1, 2]\n", {"a": 3}, "a is no single value"),
    ("a: [1, 2]\n", {"a.0": 3}, "no block a in this file"),
    ("a: 1\n", {"": 3}, "The file is no single value"),
    ("a: 1\n", {"a": math.nan}, "no number"),
    ("a: 1\n", {"a": math.inf}, "no number"),
    ("a: 1\n", {"a": 1e30}, "more digits than any number"),
    ("a: 1\n", {"a": 1e-30}, "more digits than any number"),
    ("a: 1\n", {"a": 10**30}, "more digits than any number"),
    ("a: 1\n", {"a": None}, "no value"),
    ("a: 1\n", {"a": "x\ny"}, "line ends"),
    ("a: 1\n", {"a": "x\u00a0y"}, "cannot be seen"),
    ("a: 1\n", {"a": "\u202ex"}, "cannot be seen"),
    ("a: 1\n", {"off": 1}, "not changed by program"),
    ("a: 1\n", {"b c": 1}, "no name of a setting"),
    ("a: 1\n", {"3": 1}, "no name of a setting"),
    ("a: 1\n", {"b: 1\nc": 1}, "no name of a setting"),
    ("a: 1\n", {"#b": 1}, "no name of a setting"),
    ("a: |\n  x\n", {"a": "y"}, "not changed by program"),
    ("a:\n  b: |\n    text", {"a.d": 2}, "not changed by program"),  # the text would end otherwise
    ("? a\n: 1\n", {"b": 2}, None),
]


@pytest.mark.parametrize(("text", "changes", "words"), REFUSED)
def test_refused_in_words(text: str, changes: dict[str, Any], words: str | None) -> None:
    if words is None:
        with pytest.raises(SettingsFaults):
            edited(text, changes)
        return
    fault = fault_of(text, changes)
    assert words in f"{fault.problem} {fault.remedy}"


def test_a_refusal_says_where() -> None:
    fault = fault_of("a: 1\nb:\n  c:\n    d: 1\n", {"b.c": 5})
    assert (fault.line, fault.path) == (3, "b.c")


def test_one_refused_of_several_leaves_nothing_half_done() -> None:
    with pytest.raises(SettingsFaults):
        edited(HUT, {"bank.cell_ampere_hours": 100, "bank.missing.key": 1})


@given(st.floats(-1e9, 1e9))
@example(1e-05)
@example(-0.0)
@example(5e-324)
def test_plain_decimals(value: float) -> None:
    written = plain_decimal(value)
    assert re.fullmatch(r"-?(0|[1-9][0-9]*)\.[0-9]+", written)
    assert float(written) == pytest.approx(value, rel=0.51 * 10.0 ** (1 - DIGITS), abs=1e-300)
    assert plain_decimal(float(written)) == written


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_not_written(value: float) -> None:
    with pytest.raises(ValueError, match="not a number"):
        plain_decimal(value)


@pytest.mark.parametrize(
    ("value", "written"),
    [(0.1 + 0.2, "0.3"), (3.65, "3.65"), (4.0, "4.0"), (-0.0, "0.0"), (1.00123456789, "1.00123457"),
     (1.234e-5, "0.00001234"), (123456789.0, "123456789.0")],
)  # fmt: skip
def test_sensible_digits(value: float, written: str) -> None:
    assert plain_decimal(value) == written


NAMES = st.from_regex(r"[a-z][a-z_]{0,6}", fullmatch=True)
SCALARS = st.one_of(st.integers(-999, 999), NUMBERS.filter(lambda v: abs(v) > 1e-4), WORDS,
                    st.booleans())  # fmt: skip
BLOCKS = st.recursive(
    st.dictionaries(NAMES, SCALARS, min_size=1, max_size=4),
    lambda inner: st.dictionaries(
        NAMES, SCALARS | inner | st.lists(SCALARS | inner, max_size=3), min_size=1, max_size=4
    ),
    max_leaves=8,
)


def commented(text: str, marks: list[int]) -> str:
    """Remarks and empty lines between the lines, where they do not cut a text in two."""
    lines = text.split("\n")
    for mark in marks:
        lines.insert(mark % len(lines), "" if mark % 3 else " " * (mark % 5) + "# a: remark")
    return "\n".join(lines)


def readable(text: str) -> Document | None:
    try:
        document = parse(text, "t.yaml")
    except SettingsFaults:
        return None
    return None if document.faults else document


@given(
    BLOCKS, st.sampled_from([None, False, True]), st.integers(2, 6), st.integers(15, 80),
    st.lists(st.integers(0, 40), max_size=4), st.data(),
)  # fmt: skip
def test_any_yaml_is_edited_right_or_refused(
    block: dict[str, Any],
    flow: bool | None,
    indent: int,
    width: int,
    marks: list[int],
    data: st.DataObject,
) -> None:
    text = yaml.safe_dump(block, default_flow_style=flow, indent=indent, width=width,
                          allow_unicode=True, sort_keys=False)  # fmt: skip
    text = commented(text, marks)
    document = readable(text)
    assume(document is not None)
    assert document is not None
    there = leaves(document.data)
    assume(there)
    path = data.draw(st.sampled_from(list(there)))
    if data.draw(st.booleans()):
        path = (*path[:-1], data.draw(NAMES))
        assume(path not in there)
    value = data.draw(SCALARS)
    problem = ""
    try:
        new = edited(text, {path: value})
    except SettingsFaults as refused:
        problem = refused.faults[0].problem
        event(problem)
    if problem:
        assert "not changed by program" in problem or "no single value" in problem
        return
    assert parse(new, "t.yaml").data == with_value(document.data, path, value)
    if new.count("\n") >= text.count("\n"):  # else a text over several lines was replaced
        assert remarks(new) == remarks(text)


def remarks(text: str) -> list[str]:
    return [line for line in text.split("\n") if line.lstrip().startswith("# a: remark")]


@given(st.text(max_size=60), st.text(max_size=8), SCALARS)
def test_any_text_and_path_is_edited_or_refused(text: str, path: str, value: Value) -> None:
    try:
        new = edited(text, {path: value})
    except SettingsFaults:
        return
    assert readable(new) is not None
