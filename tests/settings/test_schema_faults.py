"""What the models refuse: in words, with the line, and all at once."""

from typing import Annotated, Any, Literal, NamedTuple

import pytest
from pydantic import Field, model_validator

from supervisor.settings.base import Settings
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.hardware import Contactor
from supervisor.settings.load import validate
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.text import parse


class Case(NamedTuple):
    edit: tuple[str, str]
    words: str  # of the faulty line after the edit; ending in a colon: the whole line
    path: str
    problem: str
    remedy: str


CASES = [
    Case(
        ("    trip_volts: 3.60\n", ""),
        "  overvoltage:",
        "protection.overvoltage.trip_volts",
        "trip_volts is missing in the block protection.overvoltage",
        "a number, more than 0 and at most 6.144 volts",
    ),
    Case(
        ("  shunt:\n", "  shnt:\n"),
        "  shnt:",
        "channels.shnt",
        "no setting shnt in channels",
        "Write shunt.",
    ),
    Case(
        ("trip_volts: 3.60", "trip_voltage: 3.60"),
        "trip_voltage: 3.60",
        "protection.overvoltage.trip_voltage",
        "no setting trip_voltage",
        "Write trip_volts.",
    ),
    Case(
        ("\nloop:\n", "\nlop:\n"),
        "lop:",
        "lop",
        "no setting lop at the top of the file",
        "Write loop.",
    ),
    Case(
        ("  opens: every_opening", "  lease_milliseconds: 401"),
        "lease_milliseconds: 401",
        "mains_contactor.lease_milliseconds",
        "no setting lease_milliseconds",
        "Its place is loop.lease_milliseconds",
    ),
    Case(
        ("  opens: every_opening", "  colour: red"),
        "colour: red",
        "mains_contactor.colour",
        "no setting colour",
        "Take it out. The names here are: pin, opens.",
    ),
    Case(
        ("trip_volts: 3.60", "trip_volts: 3600"),
        "trip_volts: 3600",
        "protection.overvoltage.trip_volts",
        "3600 is outside the range of trip_volts: more than 0 and at most 6.144 volts",
        "trip_volts wants 3.6",
    ),
    Case(
        ("rated_millivolts: 50", "rated_millivolts: 0.05"),
        "rated_millivolts: 0.05",
        "channels.shunt.rated_millivolts",
        "from 10 to 250 millivolts",
        "rated_millivolts wants 50",
    ),
    Case(
        ("delay_seconds: 1.0\n    # ... in 3", "delay_seconds: -1\n    # ... in 3"),
        "delay_seconds: -1",
        "protection.overvoltage.delay_seconds",
        "from 0 to 60 seconds",
        "Write a value from 0 to 60 seconds",
    ),
    Case(
        ("address: 0x49", "address: 0x50"),
        "address: 0x50",
        "converters.current.address",
        "0x50 is outside the range of address: from 0x48 to 0x4B",
        "from 0x48 to 0x4B",
    ),
    Case(
        ("trip_amperes: 130", "trip_amperes: 130 A"),
        "trip_amperes: 130 A",
        "protection.overcurrent.trip_amperes",
        'trip_amperes is "130 A"; it must be a number',
        "Write 130, without quotes; the unit is in the name",
    ),
    Case(
        ("trip_amperes: 130", 'trip_amperes: "130,5"'),
        'trip_amperes: "130,5"',
        "protection.overcurrent.trip_amperes",
        "must be a number",
        "Write 130.5, without quotes",
    ),
    Case(
        ("trip_amperes: 130", "trip_amperes: plenty"),
        "trip_amperes: plenty",
        "protection.overcurrent.trip_amperes",
        "must be a number",
        "Write a number, more than 0 and at most 5000 amperes",
    ),
    Case(
        ("trip_amperes: 130", "trip_amperes: true"),
        "trip_amperes: true",
        "protection.overcurrent.trip_amperes",
        "trip_amperes is true",
        "Write a number",
    ),
    Case(
        ("trip_amperes: 130", "trip_amperes: [130]"),
        "trip_amperes: [130]",
        "protection.overcurrent.trip_amperes",
        "trip_amperes is a list",
        "Write a number",
    ),
    Case(
        ("trip_amperes: 130", "trip_amperes: {max: 130}"),
        "trip_amperes: {max: 130}",
        "protection.overcurrent.trip_amperes",
        "trip_amperes is a block of keys",
        "Write a number",
    ),
    Case(
        ("cells_in_parallel: 32", "cells_in_parallel: 32.0"),
        "cells_in_parallel: 32.0",
        "bank.cells_in_parallel",
        "must be a whole number",
        "Write 32, or another whole number",
    ),
    Case(
        ("kilohertz: 100", "kilohertz: 300"),
        "kilohertz: 300",
        "bus.kilohertz",
        "kilohertz is 300; it must be 100 or 400",
        "Write 100 or 400",
    ),
    Case(
        ("    inputs: \"2-3\"\n    # As above.\n    range_volts: 4.096",
         "    inputs: \"2-3\"\n    # As above.\n    range_volts: 4.1"),
        "range_volts: 4.1",
        "channels.far_cell.range_volts",
        "it must be 6.144, 4.096",
        "Write 6.144",
    ),
    Case(
        ("drive: pulse", "drive: pulses"),
        "drive: pulses",
        "contactor.drive",
        'drive is "pulses"; it must be "level" or "pulse"',
        "Write pulse.",
    ),
    Case(
        ('inputs: "2-3"', "inputs: 2"),
        "inputs: 2",
        "channels.far_cell.inputs",
        "inputs is 2; it must be",
        'Put it in quotes: "2".',
    ),
    Case(
        ("name: Mountain hut storage bank", "name: 2024"),
        "name: 2024",
        "bank.name",
        "name is 2024; it must be text",
        'Put it in quotes: "2024".',
    ),
    Case(
        ("name: Mountain hut storage bank", "name: ''"),
        "name: ''",
        "bank.name",
        "name has 0 characters; it must be text, from 1 to 60 characters",
        "Write a text of that length",
    ),
    Case(
        ("reason: Example for demo and drills, no real cells are connected", "reason: demo"),
        "reason: demo",
        "uncommissioned_reason",
        "has 4 characters; it must be text, from 8 to 200 characters",
        "Write a text of that length",
    ),
    Case(
        ("uncommissioned: accepted", "uncommissioned: true"),
        "uncommissioned: true",
        "uncommissioned",
        'uncommissioned is true; it must be "accepted"',
        'Write "accepted"',
    ),
    Case(
        ('    inputs: "2-3"\n', '    inputs: "2-3"\n    plausible_volts: [1.0]\n'),
        "    plausible_volts: [1.0]",
        "channels.far_cell.plausible_volts[1]",
        "must be a list of 2 numbers",
        "both numbers, like [1.0, 4.05]",
    ),
    Case(
        ('    inputs: "2-3"\n', '    inputs: "2-3"\n    plausible_volts: [1.0, 2.0, 4.0]\n'),
        "plausible_volts: [1.0, 2.0, 4.0]",
        "channels.far_cell.plausible_volts",
        "has 3 entries; it must be a list of 2 numbers",
        "both numbers",
    ),
    Case(
        ('    inputs: "2-3"\n', '    inputs: "2-3"\n    plausible_volts: 4.0\n'),
        "plausible_volts: 4.0",
        "channels.far_cell.plausible_volts",
        "plausible_volts is 4; it must be a list of 2 numbers",
        "both numbers",
    ),
    Case(
        ('    inputs: "2-3"\n', '    inputs: "2-3"\n    plausible_volts: [low, 4.0]\n'),
        "plausible_volts: [low, 4.0]",
        "channels.far_cell.plausible_volts[0]",
        'is "low"; it must be a number',
        "Write a number",
    ),
    Case(
        ("  buzzer:\n    # GPIO number, on while high.\n    pin: 25\n", "  buzzer: 25\n"),
        "  buzzer: 25",
        "panel.buzzer",
        "buzzer is 25; it must be a block with the keys pin",
        "Write `buzzer:` and below it",
    ),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.path} {case.edit[1].strip()}")
def test_refused(case: Case, hut_text: str, edited: Any, faults_in: Any, line_of: Any) -> None:
    text = edited(hut_text, [case.edit])
    fault = next(f for f in faults_in(text) if f.path == case.path)
    if case.words.endswith(":"):
        assert text.splitlines()[fault.line - 1].rstrip() == case.words
    else:
        assert fault.line == line_of(text, case.words)
    assert case.problem in fault.problem
    assert case.remedy in fault.remedy
    assert fault.why
    assert "http" not in str(fault)


def test_why_comes_from_the_description(hut_text: str, edited: Any, faults_in: Any) -> None:
    (fault,) = faults_in(edited(hut_text, [("drive: pulse", "drive: pulses")]))
    assert fault.why == Contactor.model_fields["drive"].description


def test_a_misspelt_key_is_told_once(hut_text: str, edited: Any, faults_in: Any) -> None:
    """Not once more as missing."""
    faults = faults_in(edited(hut_text, [("trip_volts: 3.60", "trip_volt: 3.60")]))
    assert [f.path for f in faults] == ["protection.overvoltage.trip_volt"]


def test_an_empty_file_of_ours_misses_every_block() -> None:
    faults = faults_of(SupervisorSettings, "web:\n  port: 1\n")
    required = {n for n, f in SupervisorSettings.model_fields.items() if f.is_required()}
    assert {f.path for f in faults} == required
    assert {f.line for f in faults} == {1}


def test_all_kinds_at_once(hut_text: str, edited: Any, faults_in: Any) -> None:
    """Of the text and of the schema; contradictions only once these are put right."""
    text = edited(
        hut_text,
        [
            ("cells_in_parallel: 32", "cells_in_parallel: 3_2"),
            ("address: 0x49", "address: 0x59"),
            ("drive: pulse", "drive: off"),
            ("trip_volts: 3.63", "trip_volts: 3,63"),
            ("trip_amperes: 130", "trip_ampere: 130"),
            ("pin: 22", "pin: 17"),
        ],
    )
    assert [f.path for f in faults_in(text)] == [
        "bank.cells_in_parallel",
        "converters.current.address",
        "contactor.drive",
        "protection.overvoltage_high_set.trip_volts",
        "protection.overcurrent.trip_ampere",
    ]


class Break(Settings):
    """A link opens."""

    kind: Literal["open_link"]
    cell: Annotated[int, Field(ge=1)] = Field(description="Which one.")


class Stuck(Settings):
    """A pin is stuck."""

    kind: Literal["stuck_pin"]
    pin: int


class Act(Settings):
    at_seconds: float
    fault: Annotated[Break | Stuck, Field(discriminator="kind")] | None = None
    close: bool = False

    @model_validator(mode="after")
    def _something_happens(self) -> "Act":
        if self.fault is None and not self.close:
            raise ValueError("Nothing happens at this time.")
        return self


class Story(Settings):
    timeline: list[Act]


@pytest.mark.parametrize(
    ("entry", "path", "problem", "remedy"),
    [
        ("fault: {kind: open_lnk, cell: 1}", ".fault", 'no kind "open_lnk"', "Write open_link."),
        ("fault: {cell: 1}", ".fault", "kind is missing", "one of: open_link, stuck_pin"),
        ("fault: {kind: open_link, cell: 0}", ".fault.cell", "outside the range", "at least 1"),
        ("fault: {kind: open_link}", ".fault.cell", "cell is missing", "a whole number"),
        ("fault: {kind: open_link, cel: 1}", ".fault.cel", "no setting cel", "Write cell."),
        ("fault: {kind: yes, cell: 1}", ".fault.kind", "switch", "quotes"),
        ("fault: open_link", ".fault", 'fault is "open_link"', "Write"),
        ("close: 'true'", ".close", "must be true or false", "true or false"),
        ("close: false", "", "Nothing happens", "Correct timeline[1]"),
    ],
)
def test_lists_and_choices_of_blocks(entry: str, path: str, problem: str, remedy: str) -> None:
    text = f"timeline:\n  - {{at_seconds: 1, close: true}}\n  - at_seconds: 2\n    {entry}\n"
    (fault,) = faults_of(Story, text)
    assert fault.path == f"timeline[1]{path}"
    assert fault.line == (4 if path else 3)
    assert problem in fault.problem
    assert remedy in fault.remedy


def test_part_of_a_document() -> None:
    document = parse("x: 1\nstories:\n  first:\n    timeline: 3\n", "t.yaml")
    with pytest.raises(SettingsFaults) as refused:
        validate(Story, document, ("stories", "first"))
    (fault,) = refused.value.faults
    assert (fault.line, fault.path) == (4, "stories.first.timeline")
    assert "must be a list" in fault.problem


def test_part_that_is_not_there() -> None:
    with pytest.raises(SettingsFaults) as refused:
        validate(Story, parse("x: 1\n", "t.yaml"), ("stories", "first"))
    (fault,) = refused.value.faults
    assert fault.path == "stories.first"
    assert "a block with the keys timeline" in fault.problem


def faults_of(model: type[Settings], text: str) -> tuple[Fault, ...]:
    with pytest.raises(SettingsFaults) as refused:
        validate(model, parse(text, "t.yaml"))
    return refused.value.faults
