"""The reference holds every key there is, with its range, unit and default."""

import re
from collections.abc import Iterator
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from supervisor.settings.document import dotted
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.reference import keys_below, reference


def paths_of(annotation: Any, base: str = "") -> Iterator[str]:
    """Every key of the models, by a walk of its own."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        for name, field in annotation.model_fields.items():
            inner = list(paths_of(field.annotation, f"{base}{name}."))
            yield from inner or [f"{base}{name}"]
    elif getattr(annotation, "__origin__", None) is dict:
        yield from paths_of(get_args(annotation)[1], f"{base}NAME.")
    else:
        for argument in get_args(annotation):
            yield from paths_of(argument, base)


@pytest.fixture(scope="module")
def text() -> str:
    return reference({"protection.balance": "A note.", "bank": "Another."})


def row(text: str, path: str) -> list[str]:
    (line,) = [line for line in text.splitlines() if line.startswith(f"| `{path}` |")]
    return [cell.strip() for cell in line.strip("|").split(" | ")]


def about(text: str, block: str) -> str:
    return text.split(f"## `{block}`\n\n")[1].splitlines()[0]


def test_every_key_stands_in_one_row(text: str) -> None:
    paths = list(paths_of(SupervisorSettings))
    assert len(paths) > 120
    assert [dotted(key.path) for key in keys_below(())] != []
    for path in paths:
        assert len(row(text, path)) == 4
    assert text.count("\n| `") == len(paths)


def test_the_keys_of_one_block() -> None:
    assert [dotted(key.path) for key in keys_below(("protection", "supply_thermal"))] == [
        "protection.supply_thermal.form_factor",
        "protection.supply_thermal.warn_percent",
        "protection.supply_thermal.rectifier.continuous_amperes",
        "protection.supply_thermal.rectifier.time_constant_seconds",
        "protection.supply_thermal.transformer.continuous_amperes",
        "protection.supply_thermal.transformer.time_constant_seconds",
    ]


@pytest.mark.parametrize(
    ("path", "kind", "left_out"),
    [
        ("bank.name", "text, from 1 to 60 characters", "must be given"),
        ("bus.kilohertz", "100 or 400, in kilohertz", "100"),
        ("converters.NAME.address", "a whole number, from 0x48 to 0x4B", "must be given"),
        ("channels.far_cell.plausible_volts", "a list of 2 numbers in brackets, in volts",
         "[1, 4.05]"),
        ("channels.shunt.gain_uncertainty_percent", "a number, more than 0 and at most 5 percent",
         "nothing"),
        ("protection.overvoltage.delay_seconds", "a number, from 0 to 60 seconds", "1"),
        ("protection.supply_thermal.warn_percent",
         "a number, at least 10 and less than 100 percent", "90"),
        ("protection.balance.bars_microohms", "a number, from 0 to 10000 microohms",
         "must be given"),
        ("protection.knob_speed.trip_amperes_per_second",
         "a number, more than 0 and at most 5000 amperes per second", "must be given"),
        ("protection.temperature.cells_below_celsius",
         "a number, from -20 to 70 degrees Celsius", "nothing"),
        ("protection.session_charge.trip_ampere_hours",
         "a number, more than 0 and at most 1000000 ampere-hours", "must be given"),
        ("contactor.drive", '"level" or "pulse"', "must be given"),
        ("web.listen", "text", '"127.0.0.1"'),
    ],
)  # fmt: skip
def test_type_range_unit_and_default(text: str, path: str, kind: str, left_out: str) -> None:
    assert row(text, path)[1:3] == [kind, left_out]


def test_the_meaning_is_the_models_own_description(text: str) -> None:
    meaning = row(text, "protection.session_hold.above_volts")[3]
    assert meaning == "A cell above this voltage is in the hold."


@pytest.mark.parametrize(
    ("block", "ends"),
    [
        ("bank", "Another."),  # must be there
        ("web", "May be left out: all has defaults."),
        ("protection.balance", "A note. May be left out."),
        ("probes.NAME", "each under a name of your own."),
    ],
)
def test_what_is_said_of_a_block(text: str, block: str, ends: str) -> None:
    assert about(text, block).endswith(ends)
    assert ("left out" in about(text, block)) is ("left out" in ends)


def test_no_cell_breaks_its_table(text: str) -> None:
    for line in text.splitlines():
        if line.startswith("|"):
            assert len(re.findall(r"(?<!\\)\|", line)) == 5, line
