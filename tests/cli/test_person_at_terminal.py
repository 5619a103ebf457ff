"""Who sits at the terminal: what is understood, what is asked again, and leaving at any prompt."""

import io
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from supervisor.cli.person_at_terminal import PersonAtTerminal, reading
from supervisor.commissioning.deeds import DidIt, Jump, MeterReads, PutBack, Raise
from supervisor.commissioning.person import Left

VOLTS = MeterReads("front_cell", "V")
MILLIVOLTS = MeterReads("shunt", "mV")
AMPERES = MeterReads("shunt", "A")
DEGREES = MeterReads("sink", "\N{DEGREE SIGN}C")
Typed = Callable[..., PersonAtTerminal]


class Paper(Console):
    """What was printed, in lines."""

    def __init__(self, width: int = 40, *, terminal: bool = False) -> None:
        super().__init__(file=io.StringIO(), width=width, highlight=False, force_terminal=terminal)

    @property
    def text(self) -> str:
        assert isinstance(self.file, io.StringIO)
        return self.file.getvalue()


@pytest.fixture
def paper() -> Paper:
    return Paper()


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch, paper: Paper) -> Typed:
    def types(*lines: str) -> PersonAtTerminal:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        return PersonAtTerminal("A. Warden", paper)

    return types


@pytest.mark.parametrize(
    ("word", "question", "value"),
    [
        ("3.412", VOLTS, 3.412),
        ("3,412", VOLTS, 3.412),  # a thousand volts there are none
        ("3412 mV", VOLTS, 3.412),
        (" 3.412V ".strip(), VOLTS, 3.412),
        (".5", VOLTS, 0.5),
        ("-0.02", VOLTS, -0.02),
        ("12,5", MILLIVOLTS, 12.5),
        ("0.0125 V", MILLIVOLTS, 12.5),
        ("\N{MINUS SIGN}3", MILLIVOLTS, -3.0),
        ("131.7 A", AMPERES, 131.7),
        ("131,7", AMPERES, 131.7),
        ("0.13 kA", AMPERES, 130.0),
        ("21,5 \N{DEGREE SIGN}C", DEGREES, 21.5),
        ("-5 C", DEGREES, -5.0),
    ],
)
def test_a_number_is_read_as_it_is_meant(word: str, question: MeterReads, value: float) -> None:
    assert reading(word, question) == pytest.approx(value)


@pytest.mark.parametrize(
    ("word", "question"),
    [
        ("", VOLTS),
        ("three", VOLTS),
        ("nan", VOLTS),
        ("inf", VOLTS),
        ("1e3", VOLTS),
        ("3.4.1", VOLTS),
        ("3.", VOLTS),
        ("0x3", VOLTS),
        ("3.4 A", VOLTS),
        ("34.12", VOLTS),  # the point is at another place
        ("1,234", AMPERES),  # a thousand, or one?
        ("9999", AMPERES),
        ("12 V", AMPERES),
        ("\u0663", VOLTS),  # a digit, but none of a meter here
        ("9" * 100_000, VOLTS),
    ],
)
def test_what_is_no_number_of_the_unit_is_told_in_words(word: str, question: MeterReads) -> None:
    with pytest.raises(ValueError, match=r"\w+ \w+") as refused:
        reading(word, question)
    assert len(str(refused.value)) < 300


@given(st.integers(0, 99_999), st.sampled_from(".,"), st.sampled_from(["", " V", "V"]))
def test_every_value_of_a_voltmeter_comes_back(steps: int, point: str, unit: str) -> None:
    shown = f"{steps / 10_000:.4f}".replace(".", point)
    assert reading(shown + unit, VOLTS) == pytest.approx(steps / 10_000)


@given(st.text(max_size=30))
def test_whatever_is_typed_is_a_number_in_bounds_or_words(word: str) -> None:
    try:
        value = reading(word, VOLTS)
    except ValueError as error:
        value = 0.0 if str(error) else 99.0
    assert -10 <= value <= 10


def test_it_asks_again_until_it_is_understood(typed: Typed, paper: Paper) -> None:
    assert typed("", "many", "34", "3,4").reads(VOLTS) == 3.4
    assert "front cell, in V?" in " ".join(paper.text.split())
    assert paper.text.count("\n  V: ") == 4


@pytest.mark.parametrize(
    ("word", "seen"), [("y", True), ("YES", True), ("n", False), ("no", False)]
)
def test_yes_and_no(typed: Typed, word: str, seen: bool) -> None:
    assert typed("perhaps", "", word).saw(DidIt("buzzer", "Does it sound?")) is seen


@pytest.mark.parametrize("word", ["leave", " Leave ", "quit"])
def test_leaving_at_every_prompt(typed: Typed, word: str) -> None:
    prompts: tuple[Callable[[PersonAtTerminal], object], ...] = (
        lambda person: person.reads(VOLTS),
        lambda person: person.saw(DidIt("lamp", "Is it lit?")),
        lambda person: person.does(PutBack()),
        lambda person: person.meter("volts"),
    )
    for prompt in prompts:
        with pytest.raises(Left):
            prompt(typed(word))
        with pytest.raises(Left):  # the end of input: nobody is there any more
            prompt(typed())


def test_ctrl_c_leaves(monkeypatch: pytest.MonkeyPatch, typed: Typed) -> None:
    person = typed("")

    def interrupted(*_: object) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", interrupted)
    with pytest.raises(Left):
        person.does(PutBack())


def test_bytes_that_are_no_text_are_asked_again(monkeypatch: pytest.MonkeyPatch) -> None:
    typed = io.TextIOWrapper(io.BytesIO(b"\xff\xfe\n3.3\n"), "utf-8")
    monkeypatch.setattr("sys.stdin", typed)
    with pytest.raises(Left):  # the decoder has given up the rest of the line's block
        PersonAtTerminal("x", Paper()).reads(VOLTS)


def test_a_meter_is_asked_for_once(typed: Typed, paper: Paper) -> None:
    person = typed("0.05", "0,05 % + 3", "none", "0", "0,1 mV")
    meter = person.meter("volts")
    assert (meter.reading_percent, meter.counts, meter.resolution) == (0.05, 3, 0.0001)
    assert person.meter("volts") is meter
    assert "It cannot be zero" in " ".join(paper.text.split())


def test_millivolts_are_kept_in_volts(typed: Typed) -> None:
    assert typed("0.05 % + 5", "0.01 mV").meter("millivolts").resolution == pytest.approx(1e-5)


def test_a_watched_change_is_made_after_enter_and_others_before(typed: Typed, paper: Paper) -> None:
    person = typed("", "", "", "what")
    person.does(Raise(("front_cell",), 3.4, 3.6, 0.001))
    person.does(Jump(("front_cell",), 3.6))
    assert paper.text.count("Enter, and then do it") == 2
    person.does(PutBack())
    assert paper.text.count("Done? Enter") == 1
    with pytest.raises(Left):
        person.does(PutBack())


def test_no_line_is_wider_than_a_narrow_terminal(typed: Typed, paper: Paper) -> None:
    person = typed("so so", "3.3", "", "0.05 % + 3", "1 mV")
    person.reads(VOLTS)
    person.does(Raise(("front_cell", "far_cell"), 3.4, 3.6, 0.001))
    person.meter("volts")
    assert max(map(len, paper.text.splitlines())) <= 40


def test_what_is_shown_stays_on_its_line_of_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    paper = Paper(30, terminal=True)
    monkeypatch.setattr("sys.stdin", io.StringIO("\n"))
    person = PersonAtTerminal("x", paper)
    for number in range(3):
        person.is_shown(f"front cell 3.40{number} V, limit 3.6, and much more of it")
    person.does(PutBack())
    shown = paper.text.split("\r")
    assert [len(line) for line in shown[:3]] == [29, 29, 29]
    assert shown[3].startswith("\n")


def test_nothing_of_it_goes_into_a_pipe(typed: Typed, paper: Paper) -> None:
    typed().is_shown("front cell 3.400 V")
    assert not paper.text
