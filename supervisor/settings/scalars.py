"""One unquoted word of YAML: a number, true, false or text, and never a surprise.

YAML 1.1, YAML 1.2 and the reader of a file disagree on words such as ``off``, ``010`` or ``1:30``.
Whatever can be misread is refused.
"""

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass

LONGEST_NUMBER = 24  # characters; a double holds 17 digits


@dataclass(frozen=True, slots=True)
class Surprise:
    """Why a word is refused, and what to write."""

    problem: str
    why: str
    remedy: str


Scalar = str | int | float | bool

# Each: shape of the whole word, and what it means. Everything else is text, or a surprise.
_PLAIN: tuple[tuple[re.Pattern[str], Callable[[str], Scalar]], ...] = (
    (re.compile(r"true|false"), lambda text: text == "true"),
    (re.compile(r"[-+]?(0|[1-9][0-9]*)"), int),
    (re.compile(r"[-+]?(0|[1-9][0-9]*)\.[0-9]+"), float),
    (re.compile(r"0x[0-9a-fA-F]+"), lambda text: int(text, 16)),
)

_DISAGREE = "Programs that read YAML disagree on it, so a limit could silently become another one."


def _plain(text: str) -> str:
    """Number without its typographic ornaments, for a proposal."""
    return text.replace("_", "").replace(",", ".")


def _exponent(text: str) -> str:
    number = float(text.replace("_", ""))
    if not 1e-6 <= abs(number) <= 1e9:
        return "Write it out, if it is meant: no value here is so large or so small."
    written = f"{number:.10f}".rstrip("0").rstrip(".")
    return f"Write it out: {written}."


def _comma(text: str) -> str:
    if re.fullmatch(r"[-+]?\d{1,3}(,\d{3})+", text):
        return f"Write {text.replace(',', '')} if the comma groups thousands, else use a point."
    return f"Write it with a point: {_plain(text)}."


def _zeros(text: str) -> str:
    sign = "-" if text.startswith("-") else ""
    number = text.lstrip("+-0")
    if number.startswith(".") or not number:
        number = "0" + number
    return f"Write it without leading zeros: {sign}{number.rstrip('.')}."


def _point(text: str) -> str:
    sign = "-" if text.startswith("-") else ""
    whole, _, part = text.lstrip("+-").partition(".")
    return f"Write {sign}{whole or '0'}.{part or '0'}."


def _clock(text: str) -> str:
    total = 0.0
    for part in text.lstrip("+-").split(":"):
        total = total * 60 + float(part)
    return (
        "Write one decimal number in the unit that the key names (minutes and seconds would be "
        f"{total:.10g} seconds), or put it in quotes if it is text."
    )


_QUOTES = "Put it in quotes if it is meant as text."

# Each: shape of the whole word, what it is, what to write instead.
_SURPRISES: tuple[tuple[re.Pattern[str], str, Callable[[str], str]], ...] = tuple(
    (re.compile(pattern, re.IGNORECASE | re.ASCII), problem, remedy)
    for pattern, problem, remedy in (
        (
            r"y|n|yes|no|on|off",
            "{} is a switch to some programs and a word to others.",
            lambda _: "Write true or false for a switch, or put it in quotes if it is a word.",
        ),
        (
            r"true|false",
            "{} is not how this file writes a switch.",
            lambda t: f"Write {t.lower()}.",
        ),
        (r"[-+]?\d+(,\d+)+", "{} has a decimal comma: that makes it text, not a number.", _comma),
        (
            r"[-+]?0\d+(\.\d*)?",
            "{} begins with a zero: to some programs that is an octal number.",
            _zeros,
        ),
        (
            r"[-+]?0(o[0-7][0-7_]*|b[01][01_]*)",
            "{} is an octal or binary number.",
            lambda t: f"Write it in decimal: {int(t.replace('_', ''), 0)}.",
        ),
        (
            r"[-+]?\d+(:[0-5]?\d)+(\.\d*)?",
            "{} is read to base 60 by some programs: 1:30 as 90.",
            _clock,
        ),
        (
            r"[-+]?(\d[\d_]*\.?[\d_]*|\.\d+)e[-+]?\d+",
            "{} has an exponent: text to some programs, a number to others.",
            _exponent,
        ),
        (
            r"[-+]?(0x[\da-f_]*_[\da-f_]*|\d[\d_.]*_[\d_.]*)",
            "{} has underscores: a number to some programs, text to others.",
            lambda t: f"Write it without: {_plain(t)}.",
        ),
        (
            r"[-+]?\.(inf|nan)",
            "{} is no number that can be measured.",
            lambda _: "Write the number that you mean; to leave a key out, put # before it.",
        ),
        (r"[-+]?(\.\d+|\d+\.)", "{} has digits on one side of the point only.", _point),
        (
            r"\d{4}-\d{1,2}-\d{1,2}([t ].*)?",
            "{} is turned into a date by some programs.",
            lambda _: _QUOTES,
        ),
    )
)


def read_plain(text: str) -> Scalar | Surprise:
    """The meaning of an unquoted word, or why it has none."""
    if text in ("", "~") or text.lower() == "null":
        return _no_value(text)
    if hidden := next((c for c in text if _is_hidden(c)), None):
        name = unicodedata.name(hidden, f"U+{ord(hidden):04X}").lower()
        return Surprise(
            f"{text.strip()!r} contains a character that cannot be seen: {name}.",
            "It looks right and still is something else than what was meant.",
            "Type it anew with ordinary spaces.",
        )
    if len(text) > LONGEST_NUMBER and re.fullmatch(r"[-+]?[\da-fx_.,:]+", text, re.ASCII):
        return Surprise(
            f"{text[:LONGEST_NUMBER]}... has more digits than any number here can need.",
            "Nobody can check such a number by eye, and no meter is that fine.",
            f"Round it. {_QUOTES}",
        )
    for shape, meaning in _PLAIN:
        if shape.fullmatch(text):
            return meaning(text)
    for shape, problem, remedy in _SURPRISES:
        if shape.fullmatch(text):
            return Surprise(problem.format(text), _DISAGREE, remedy(text))
    return text


def _no_value(text: str) -> Surprise:
    return Surprise(
        f"{text} means that there is no value." if text else "There is no value after this key.",
        "Left open, nobody can tell whether it was forgotten or meant to be off.",
        "Write a value, or take the key out (a # before it does).",
    )


def _is_hidden(character: str) -> bool:
    """Spaces other than the ordinary one, zero-width and direction marks."""
    return character != " " and unicodedata.category(character) in ("Zs", "Cf")
