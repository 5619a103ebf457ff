"""Unquoted words: numbers, true, false and text; everything that can be misread is refused."""

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from supervisor.settings.scalars import Surprise, read_plain


@pytest.mark.parametrize(
    ("word", "value"),
    [
        ("3.6", 3.6),
        ("-0.5", -0.5),
        ("+2", 2),
        ("0", 0),
        ("17", 17),
        ("0x48", 0x48),
        ("0x4A", 0x4A),
        ("true", True),
        ("false", False),
        ("pulse", "pulse"),
        ("Mountain hut", "Mountain hut"),
        ("127.0.0.1", "127.0.0.1"),
        ("0-1", "0-1"),
        ("only", "only"),
        ("offset", "offset"),
        ("3.6 V", "3.6 V"),
        ("nullify", "nullify"),
        ("::1", "::1"),
    ],
)
def test_plain_words(word: str, value: object) -> None:
    read = read_plain(word)
    assert read == value
    assert type(read) is type(value)


REFUSED = [
    *[(w, "switch", "true or false") for w in ("off", "on", "yes", "no", "y", "N", "Off", "YES")],
    ("True", "switch", "Write true."),
    ("FALSE", "switch", "Write false."),
    ("3,6", "decimal comma", "3.6"),
    ("-3,65", "decimal comma", "-3.65"),
    ("1,000", "decimal comma", "1000"),
    ("010", "octal", "Write it without leading zeros: 10."),
    ("00", "octal", "leading zeros: 0."),
    ("-007.5", "octal", "leading zeros: -7.5."),
    ("0o17", "octal", "15"),
    ("0b101", "binary", "5"),
    ("1:30", "base 60", "90 seconds"),
    ("1:00:00", "base 60", "3600 seconds"),
    ("-1:30.5", "base 60", "90.5"),
    ("1e3", "exponent", "1000"),
    ("36E-1", "exponent", "3.6"),
    ("1.5e+2", "exponent", "150"),
    ("1e999", "exponent", "so large"),
    ("3_6", "underscores", "36"),
    ("1_000.5", "underscores", "1000.5"),
    ("0x4_8", "underscores", "0x48"),
    (".nan", "no number", "Write the number"),
    (".NaN", "no number", "Write the number"),
    (".inf", "no number", "Write the number"),
    ("-.Inf", "no number", "Write the number"),
    (".5", "one side of the point", "0.5"),
    ("-3.", "one side of the point", "-3.0"),
    ("", "no value", "take the key out"),
    ("~", "no value", "take the key out"),
    ("null", "no value", "take the key out"),
    ("NULL", "no value", "take the key out"),
    ("2024-05-01", "date", "quotes"),
    ("2024-05-01 10:00:00", "date", "quotes"),
    ("9" * 5000, "more digits", "Round"),
    ("0." + "1" * 400, "more digits", "Round"),
    ("3.6\u00a0V", "cannot be seen: no-break space", "ordinary spaces"),
    ("hut\u200b", "cannot be seen: zero width space", "ordinary spaces"),
]


@pytest.mark.parametrize(("word", "problem", "remedy"), REFUSED)
def test_surprises(word: str, problem: str, remedy: str) -> None:
    read = read_plain(word)
    assert isinstance(read, Surprise)
    assert problem in read.problem
    assert remedy in read.remedy
    assert read.why


@given(st.text(alphabet="0123456789+-._,:exEXobyYnNtfru~<= ", max_size=8).map(str.strip))
def test_never_another_meaning_than_yaml(word: str) -> None:
    """Either the same as PyYAML reads, or text to both, or refused."""
    try:
        theirs = yaml.safe_load(f"k: {word}")
    except (yaml.YAMLError, ValueError):
        return
    ours = read_plain(word)
    if isinstance(ours, Surprise) or theirs is None or not isinstance(theirs, dict):
        return
    if set(theirs) == {"k"}:
        assert ours == theirs["k"]
        assert type(ours) is type(theirs["k"])


@given(st.text(max_size=40))
def test_any_word_has_an_answer(word: str) -> None:
    assert isinstance(read_plain(word), str | int | float | bool | Surprise)
