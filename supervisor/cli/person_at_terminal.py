"""The person of a real build: told what to do, and asked, at a terminal by keyboard alone."""

import math
import re
import sys
import termios
from collections.abc import Callable
from contextlib import suppress
from typing import Any, TextIO, TypeVar

from rich.console import Console
from rich.prompt import InvalidResponse, PromptBase
from rich.text import Text

from supervisor.cli.check_words import print_wrapped
from supervisor.commissioning.deeds import Deed, DidIt, Jump, MeterReads, Raise
from supervisor.commissioning.person import Left, MeterKind
from supervisor.measurement.meter import Meter, Unit, quantity, stated

Answer = TypeVar("Answer")

LEAVE = ("leave", "quit", "exit")
YES, NO = ("y", "yes", "true"), ("n", "no", "false")
DONE = ("", "d", "done", "ok", *YES)
UNITS: dict[MeterKind, Unit] = {"volts": "V", "millivolts": "V", "amperes": "A"}
RANGES = {
    "volts": ("The voltmeter, on the range for a cell's volts", "0.05 % + 3", "0.1 mV"),
    "millivolts": ("The voltmeter, on its millivolt range", "0.05 % + 5", "0.01 mV"),
    "amperes": ("The reference for the current, clamp or second shunt", "0.5 % + 3", "0.1 A"),
}
DEGREES = "\N{DEGREE SIGN}C"
# What a person may write behind a number, and what it makes of it.
WORDS = {
    "V": {"": 1.0, "v": 1.0, "mv": 1e-3},
    "mV": {"": 1.0, "mv": 1.0, "v": 1e3},
    "A": {"": 1.0, "a": 1.0, "ma": 1e-3, "ka": 1e3},
    DEGREES: {"": 1.0, "c": 1.0, DEGREES.casefold(): 1.0},
}
# No reference of this job shows more: a point that was left out. Ours, no source.
MOST = {"V": 10.0, "mV": 1000.0, "A": 5000.0, DEGREES: 150.0}
LONGEST = 80  # characters of an answer
NUMBER = re.compile(r"([-+\N{MINUS SIGN}]?)\s*(\d*[.,]?\d+)\s*(\S*)", re.ASCII)


class PersonAtTerminal:
    """Asks again until an answer is understood. "leave", Ctrl-C and the end of input raise Left."""

    def __init__(self, name: str, console: Console) -> None:
        self.name = name
        self._console = console
        self._meters: dict[MeterKind, Meter] = {}
        self._is_showing = False

    def tells(self, text: str) -> None:
        self._end_of_showing()
        print_wrapped(self._console, "", text)

    def does(self, deed: Deed) -> None:
        """Before a change that is watched is made: who turns first has turned unseen."""
        self._end_of_showing()
        print_wrapped(self._console, "> ", deed.text)
        is_watched = isinstance(deed, Raise | Jump)
        self.acknowledges("Enter, and then do it" if is_watched else "Done? Enter")

    def acknowledges(self, prompt: str) -> None:
        self._ask(prompt, _acknowledged)

    def agrees(self, text: str) -> bool:
        return self._question(text, "yes or no", _yes_or_no)

    def reads(self, question: MeterReads) -> float:
        return self._question(question.text, question.unit, lambda word: reading(word, question))

    def saw(self, question: DidIt) -> bool:
        return self.agrees(question.asked)

    def meter(self, kind: MeterKind) -> Meter:
        """Asked once."""
        if kind not in self._meters:
            self._meters[kind] = self._ask_for_meter(kind)
        return self._meters[kind]

    def is_shown(self, text: str) -> None:
        """On one line of a terminal, again and again; nowhere else."""
        if self._console.is_terminal:
            width = self._console.width - 1
            line = Text(text[:width].ljust(width))
            self._console.print(line, end="\r", soft_wrap=True)
            self._is_showing = True

    def _end_of_showing(self) -> None:
        if self._is_showing:
            self._console.print()
        self._is_showing = False

    def _ask_for_meter(self, kind: MeterKind) -> Meter:
        unit = UNITS[kind]
        what, accuracy, step = RANGES[kind]
        statement = self._question(
            f"{what}: what accuracy does its manual state, such as {accuracy}?",
            "accuracy",
            lambda word: (stated(word, 1.0, unit), word)[1],
        )
        return self._question(
            f"What is one step of its last digit there, such as {step}?",
            "one step",
            lambda word: stated(statement, _step(word, unit), unit),
        )

    def _question(self, text: str, prompt: str, understood: Callable[[str], Answer]) -> Answer:
        self._end_of_showing()
        print_wrapped(self._console, "? ", text)
        return self._ask(prompt, understood)

    def _ask(self, prompt: str, understood: Callable[[str], Answer]) -> Answer:
        self._end_of_showing()
        try:
            answer: Answer = _Question(Text(f"  {prompt}"), understood, self._console)()
        except (EOFError, KeyboardInterrupt):
            self._console.print()
            raise Left from None
        return answer


class _Question(PromptBase[Any]):
    """``understood`` raises ValueError, in words, for what is no answer."""

    def __init__(self, prompt: Text, understood: Callable[[str], Any], console: Console) -> None:
        super().__init__(prompt, console=console)
        self._understood = understood

    @classmethod
    def get_input(
        cls, console: Console, prompt: Any, password: bool, stream: TextIO | None = None
    ) -> str:
        _forget_typed_ahead()
        value = "\N{REPLACEMENT CHARACTER}"
        with suppress(UnicodeDecodeError):
            value = super().get_input(console, prompt, password, stream)
        if not sys.stdin.isatty():  # nobody's Enter has ended the line
            console.print()
        return value

    def process_response(self, value: str) -> Any:
        word = value.strip()
        if word.casefold() in LEAVE:
            raise Left
        try:
            return self._understood(word)
        except ValueError as error:
            raise InvalidResponse(str(error)) from None

    def on_validate_error(self, value: str, error: InvalidResponse) -> None:  # noqa: ARG002  # rich's signature
        print_wrapped(self.console, "  ", str(error.message))


def _forget_typed_ahead() -> None:
    """An Enter that was pressed before the question is no answer to it."""
    if sys.stdin.isatty():
        with suppress(termios.error):
            termios.tcflush(sys.stdin, termios.TCIFLUSH)


def reading(word: str, question: MeterReads) -> float:
    """What a person writes of a meter, in the question's unit. Raises ValueError, in words.

    A comma is a point, but where amperes could be thousands.
    """
    unit = question.unit
    match = NUMBER.fullmatch(word) if len(word) <= LONGEST else None
    factor = WORDS[unit].get(match[3].casefold()) if match else None
    if match is None or factor is None:
        raise ValueError(f"{_shortly(word)} is no number of {unit}: write it like 3.412, or leave.")
    if unit == "A":
        quantity(match[2], "A")  # refuses 1,234
    value = factor * float(match[2].replace(",", "."))
    if not value <= MOST[unit]:
        raise ValueError(f"{value:g} {unit} is more than can be: is the point at its place?")
    return value if match[1] in ("", "+") else -value


def _step(word: str, unit: Unit) -> float:
    value = quantity(word, unit)
    if not math.isfinite(value) or value > 1:
        raise ValueError(f"{value:g} {unit} is no step of a last digit: write it like 0.1 m{unit}.")
    return value


def _yes_or_no(word: str) -> bool:
    if word.casefold() in (*YES, *NO):
        return word.casefold() in YES
    raise ValueError("Write yes or no; or leave, to go on later.")


def _acknowledged(word: str) -> None:
    if word.casefold() not in DONE:
        raise ValueError("Press Enter alone; or write leave, to go on later.")


def _shortly(word: str) -> str:
    return repr(word if len(word) <= 20 else f"{word[:20]}...")
