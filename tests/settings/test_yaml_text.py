"""YAML text to data with lines; every fault in it at once."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.text import DEEPEST, parse


def faults_of(text: str) -> tuple[Fault, ...]:
    try:
        return parse(text, "t.yaml").faults
    except SettingsFaults as refused:
        return refused.faults


def test_data_and_lines() -> None:
    document = parse("# c\na: 1\n\nb:\n  c: [2.5, x]\n  d:\n    - e: 'off'\n", "t.yaml")
    assert document.data == {"a": 1, "b": {"c": [2.5, "x"], "d": [{"e": "off"}]}}
    assert document.faults == ()
    lines = {"a": 2, "b": 4, "b.c": 5, "b.d": 6}
    assert {path: document.line(path) for path in lines} == lines
    assert document.line(("b", "d", 0, "e")) == 7
    assert document.line(("b", "d", 0, "missing")) == 7
    assert document.line("missing") == 1


def test_quoted_words_are_text() -> None:
    text = "a: 'off'\nb: \"3,6\"\nc: '010'\nd: ''\ne: '~'\n"
    assert parse(text, "t.yaml").data == {"a": "off", "b": "3,6", "c": "010", "d": "", "e": "~"}


# text, line, path, part of the problem, part of the remedy
REFUSED = [
    ("a: 1\nb: 2\na: 3\n", 3, "a", "second time; first in line 1", "Take one"),
    ("b:\n  a: 1\n  a: 1\n", 3, "b.a", "second time; first in line 2", "Take one"),
    ("a: 1\nb: off\n", 2, "b", "switch", "true or false"),
    ("a:\n  - 1\n  - 3,6\n", 3, "a[1]", "decimal comma", "3.6"),
    ("a:\nb: 1\n", 1, "a", "no value", "take the key out"),
    ("x: 1\na: ~ # none\n", 2, "a", "no value", "take the key out"),
    ("a: {b, c: 1}\n", 1, "a.b", "no value", "take the key out"),
    ("a: &x 1\n", 1, "a", "&x repeats", "Write the values out"),
    ("a: *x\n", 1, "a", "*x repeats", "Write the values out"),
    ("a: &x {b: 1}\n", 1, "a", "&x repeats", "Write the values out"),
    ("&x a: 1\n", 1, "a", "&x repeats", "Write the values out"),
    ("a: 1\n<<: {b: 1}\n", 2, "<<", "<< repeats", "Write the values out"),
    ("a: !!python/object/apply:os.system [ls]\n", 1, "a", "python", "Take it out"),
    ("a: !!str 3.6\n", 1, "a", "is a tag", "Take it out"),
    ("a: ! 3\n", 1, "a", "is a tag", "Take it out"),
    ("!!str a: 3\n", 1, "a", "is a tag", "Take it out"),
    ("yes: 1\n", 1, "yes", "As a name of a setting", "another word"),
    ("a: 1\n3: 1\n", 2, "3", "not a word", "name: value"),
    ("? [a, b]\n: 1\n", 1, "(no name)", "not a name", "name: value"),
    ("'': 1\n", 1, "(no name)", "not a name", "name: value"),
    ('a: "\\ud800"\n', 1, "a", "half of an escaped character", "itself"),
    ("", 1, "", "nothing in this file", "hut-bank.yaml"),
    ("# only\n# words\n", 1, "", "nothing in this file", "hut-bank.yaml"),
    ("---\n", 2, "", "does not begin with a key", "key: value"),
    ("- 1\n- 2\n", 1, "", "does not begin with a key", "key: value"),
    ("\n\nhello\n", 3, "", "does not begin with a key", "key: value"),
    ("a: 1\n---\nb: 1\n", 2, "", "second document", "two files"),
    ("a:\n\tb: 1\n", 2, "", "tab where only spaces may stand: line 2, column 1", "spaces"),
    ("a:\t1\n", 1, "", "tab", "spaces"),
    ("a: 1\n  b: 2\n", 2, "", "colon where no new key", "quotes"),
    ("a: 1\nb\nc: 1\n", 2, "", "without a colon", "key: value"),
    ("a:\n    b: 1\n  c: 1\n", 3, "", "does not stand below", "same number of spaces"),
    ("a: 1\nb: 'x\n\n", 2, "", "never closed: line 2, column 4", "Close it"),
    ('a: "\\q"\n', 1, "", "backslash", "single quotes"),
    ("a: [1, 2\nb: 1\n", 2, "", "not closed", "[1.0, 4.05]"),
    ("a: {b: 1\nc: 1\n", 2, "", "not closed", "one key a line"),
    ("a: @x\n", 1, "", "cannot begin a word", "quotes"),
    ("a: * x\n", 1, "", "begins with * or &", "quotes"),
    ("a: - 1\n", 1, "", "list entry", "line of its own"),
    ("a: !x!y 1\n", 1, "", "tag", "Take it out"),
    ("%YAML 2.0\n---\na: 1\n", 1, "", "not YAML", "hut-bank.yaml"),
    ('a: 1\nb: "\\UFFFFFFFF"\n', 2, "", "does not exist", "single quotes"),
    ("a: " + "[" * 3000 + "\n", 1, "a[0][0]", f"more than {DEEPEST}", "brackets"),
    ("a:\n " + "- " * 3000 + "\n", 2, "a[0][0]", f"more than {DEEPEST}", "brackets"),
    ("? " * 3000, 1, "(no name).(no name).(no name)", f"more than {DEEPEST}", "brackets"),
]


@pytest.mark.parametrize(("text", "line", "path", "problem", "remedy"), REFUSED)
def test_refused(text: str, line: int, path: str, problem: str, remedy: str) -> None:
    (fault,) = faults_of(text)
    assert (fault.file, fault.line, fault.path) == ("t.yaml", line, path)
    assert problem in fault.problem
    assert remedy in fault.remedy
    assert fault.why


def test_all_at_once_and_before_a_syntax_error() -> None:
    faults = faults_of("a: off\nb: 3,6\nb: 1\nc: [010]\nd: 'x\n")
    places = [(f.line, f.path) for f in faults]
    assert places == [(1, "a"), (2, "b"), (3, "b"), (4, "c[0]"), (5, "")]


def test_of_two_values_none_is_trusted() -> None:
    document = parse("a: 1\na: 2\n", "t.yaml")
    assert ("a",) in document.refused


def assert_document_or_faults(text: str) -> None:
    try:
        document = parse(text, "t.yaml")
    except SettingsFaults as refused:
        faults = refused.faults
    else:
        assert isinstance(document.data, dict)
        assert document.faults or not document.refused
        return
    assert faults
    assert all(f.problem and f.why and f.remedy and (f.line or 0) > 0 for f in faults)


@given(st.text(max_size=200))
def test_any_text_is_a_document_or_faults(text: str) -> None:
    assert_document_or_faults(text)


YAML_BITS = st.sampled_from(
    ["a", "b: ", ": ", "- ", "? ", "\n", "\n  ", "\n\t", "[", "]", "{", "}", ",", "'", '"', "\\U",
     "&x ", "*x", "!!int ", "!", "<<", "|\n", ">-\n", "---\n", "...\n", "%YAML ", "#", "010", "~",
     "1:30", "\\", "\r", "\u2028", "\u00a0", "%TAG ! x\n"]
)  # fmt: skip


@given(st.lists(YAML_BITS, max_size=30).map("".join))
def test_any_yaml_like_text_is_a_document_or_faults(text: str) -> None:
    assert_document_or_faults(text)
