"""Temperature probes and their limits that contradict each other or the rest of the file."""

from collections.abc import Callable
from typing import Any

import pytest

from supervisor.settings.faults import Fault

FaultsIn = Callable[[str], tuple[Fault, ...]]
LM75 = "chip: lm75, place: heat_sink, address: 0x4C"
DS = "chip: ds18b20, place: cells, serial: 28-0316a2795bff"
RULE = "protection.temperature"
SINK_80 = "heat_sink_above_celsius: 80"
CELLS = "cells_above_celsius: 45, cells_below_celsius: 5"


def with_probes(text: str, edited: Any, probes: dict[str, str], rule: str | None) -> str:
    """The example with these blocks, in one line each."""
    block = "".join(f"  {name}: {{{keys}}}\n" for name, keys in probes.items())
    edits = [("# probes:\n", f"probes:\n{block}# As it would be:\n")] if probes else []
    if rule is not None:
        edits += [
            ("  # temperature:\n", f"  temperature: {{{rule}}}\n  # As it would be:\n"),
            ("  without:\n", "  without: {}\n"),
            ("    temperature: Example for demo and drills, no probes are fitted\n", ""),
        ]
    return str(edited(text, edits))


@pytest.fixture
def faults(hut_text: str, edited: Any, faults_in: FaultsIn) -> Callable[..., tuple[Fault, ...]]:
    return lambda probes, rule: faults_in(with_probes(hut_text, edited, probes, rule))


@pytest.mark.parametrize(
    ("probes", "rule"),
    [
        ({}, None),
        ({"sink": LM75}, SINK_80),
        ({"cell": DS}, CELLS),
        ({"cell": DS}, "cells_below_celsius: 0"),
        ({"cell": DS}, "cells_above_celsius: 45"),
        ({"sink": LM75, "cell": DS}, f"{SINK_80}, {CELLS}"),
        ({"left": LM75, "right": LM75.replace("4C", "4F")}, SINK_80),
        ({"iron": "chip: lm75, place: transformer, address: 0x4A"},
         "transformer_above_celsius: 110"),
    ],
)  # fmt: skip
def test_no_contradiction(
    faults: Callable[..., tuple[Fault, ...]], probes: dict[str, str], rule: str | None
) -> None:
    assert faults(probes, rule) == ()


FIVE = {f"cell{k}": DS.replace("bff", f"bf{k}") for k in range(5)}
TWO_RULES = f"{SINK_80}, {CELLS}"
CASES = [
    # probes, rule, path, problem, remedy
    ({"sink": "chip: lm75, place: heat_sink"}, SINK_80, "probes.sink.address",
     "chip is lm75, but address is missing", "0x48 to 0x4F"),
    ({"cell": "chip: ds18b20, place: cells"}, CELLS, "probes.cell.serial",
     "chip is ds18b20, but serial is missing", "28- and twelve digits"),
    ({"sink": f"{LM75}, serial: 28-0316a2795bff"}, SINK_80, "probes.sink.serial",
     "chip is lm75, but serial belongs to ds18b20", "Take serial out, or write chip: ds18b20"),
    ({"cell": f"{DS}, address: 0x4C"}, CELLS, "probes.cell.address",
     "chip is ds18b20, but address belongs to lm75", "Take address out, or write chip: lm75"),
    ({"sink": LM75.replace("4C", "48")}, SINK_80, "probes.sink.address",
     "sink has the address 0x48 of converter cells", "0x4C to 0x4F"),
    ({"sink": LM75.replace("4C", "49")}, SINK_80, "probes.sink.address",
     "sink has the address 0x49 of converter current", "0x4C to 0x4F"),
    ({"left": LM75, "right": LM75}, SINK_80, "probes.right.address",
     "right has the address 0x4C of probe left", "Set another address"),
    ({"a": DS, "b": DS}, CELLS, "probes.b.serial",
     "b and a are the same probe, 28-0316a2795bff", "Warm one of them"),
    ({"Sink": LM75, "sink": LM75.replace("4C", "4D")}, SINK_80, "probes.sink",
     'The probes "sink" and "Sink" have the same name', "such as sink_left"),
    ({"sink": LM75}, None, "probes",
     "There are probes, but no protection.temperature", "Add `temperature:`"),
    ({}, SINK_80, RULE, "limits of temperature, but no probes", "protection.without"),
    ({"sink": LM75}, TWO_RULES, f"{RULE}.cells_above_celsius",
     "There is no probe with place: cells", "Add a probe with place: cells"),
    ({"sink": LM75}, TWO_RULES, f"{RULE}.cells_below_celsius",
     "There is no probe with place: cells", "take the limit out"),
    ({"cell": DS}, f"{CELLS}, transformer_above_celsius: 90", f"{RULE}.transformer_above_celsius",
     "There is no probe with place: transformer", "Add a probe with place: transformer"),
    ({"cell": DS}, f"{CELLS}, {SINK_80}", f"{RULE}.heat_sink_above_celsius",
     "There is no probe with place: heat_sink", "Add a probe with place: heat_sink"),
    ({"sink": LM75, "cell": DS}, SINK_80, "probes.cell.place", "No limit belongs to place: cells",
     f"Write {RULE}.cells_above_celsius or {RULE}.cells_below_celsius"),
    ({"sink": LM75, "cell": DS}, CELLS, "probes.sink.place",
     "No limit belongs to place: heat_sink", f"Write {RULE}.heat_sink_above_celsius, or take"),
    ({"sink": LM75}, "delay_seconds: 5", "probes.sink.place",
     "No limit belongs to place: heat_sink", "or take the probe out"),
    ({"cell": DS}, "cells_above_celsius: 5, cells_below_celsius: 5", f"{RULE}.cells_below_celsius",
     "5 is not below cells_above_celsius, 5", "such as 5 and 45"),
    ({"cell": DS}, "cells_above_celsius: 5, cells_below_celsius: 45",
     f"{RULE}.cells_below_celsius", "45 is not below cells_above_celsius, 5", "data sheet"),
    (FIVE, f"{CELLS}, lost_after_seconds: 14", f"{RULE}.lost_after_seconds",
     "14 s is too short for 5 ds18b20: each is read once in about 5 s", "at least 15"),
]  # fmt: skip


@pytest.mark.parametrize(("probes", "rule", "path", "problem", "remedy"), CASES)
def test_contradiction(
    faults: Callable[..., tuple[Fault, ...]],
    probes: dict[str, str],
    rule: str | None,
    path: str,
    problem: str,
    remedy: str,
) -> None:
    fault = next(f for f in faults(probes, rule) if f.path == path and problem in f.problem)
    assert remedy in fault.remedy
    assert fault.why
    assert fault.line


def test_five_slow_probes_have_just_time_enough(
    faults: Callable[..., tuple[Fault, ...]],
) -> None:
    assert faults(FIVE, f"{CELLS}, lost_after_seconds: 15") == ()


def test_one_mistake_is_told_once(faults: Callable[..., tuple[Fault, ...]]) -> None:
    """Limits without any probe: not each limit once more."""
    assert [fault.path for fault in faults({}, TWO_RULES)] == [RULE]
    assert [fault.path for fault in faults({"sink": LM75}, None)] == ["probes"]
    assert [fault.path for fault in faults({"sink": LM75.replace("4C", "48")}, SINK_80)] == [
        "probes.sink.address"
    ]


@pytest.mark.parametrize("serial", ["28-0316A2795BFF", "10-0316a2795bff", "28-0316a2795bf", "0x28"])
def test_a_serial_number_that_no_ds18b20_has(
    faults: Callable[..., tuple[Fault, ...]], serial: str
) -> None:
    paths = [f.path for f in faults({"cell": DS.replace("28-0316a2795bff", serial)}, CELLS)]
    assert "probes.cell.serial" in paths


# -- one transfer a cycle goes to an lm75: 0.48 ms at 100 kHz

FULL_CYCLE = ("scans_per_window: 7\n", "scans_per_window: 9\n")


def test_the_transfer_of_a_probe_is_in_the_time_budget(
    hut_text: str, edited: Any, faults_in: FaultsIn
) -> None:
    """9.7 ms of three conversions fit into nine tenths of 11.1 ms; 10.2 ms do not."""
    text = edited(hut_text, [FULL_CYCLE])
    assert faults_in(text) == ()
    assert faults_in(with_probes(text, edited, {"cell": DS}, CELLS)) == ()
    (fault,) = faults_in(with_probes(text, edited, {"sink": LM75}, SINK_80))
    assert fault.path == "loop.scans_per_window"
    assert "One scan takes 10.2 ms, but a cycle is only 11.1 ms" in fault.problem
    assert "scans_per_window: 8" in fault.remedy


def test_many_probes_take_no_more_time_than_one(
    hut_text: str, edited: Any, faults_in: FaultsIn
) -> None:
    text = edited(hut_text, [("scans_per_window: 7\n", "scans_per_window: 8\n")])
    many = {f"sink{k}": LM75.replace("4C", f"4{k}") for k in "ABCDEF"}
    assert faults_in(with_probes(text, edited, many, SINK_80)) == ()


@pytest.mark.parametrize("name", ['"a b{}"', '"\u200b"', '"-x"'])
def test_a_name_that_is_none(faults: Callable[..., tuple[Fault, ...]], name: str) -> None:
    found = faults({name: LM75}, SINK_80)
    assert any("is no name for a probe" in fault.problem for fault in found), found


def test_the_one_wire_bus_has_a_pin_of_its_own(
    hut_text: str, edited: Any, faults_in: FaultsIn
) -> None:
    text = with_probes(hut_text, edited, {"cell": DS}, CELLS)
    lamp = "  lamp:\n    # GPIO number, on while high.\n    pin: 16\n"
    (fault,) = faults_in(edited(text, [(lamp, "  lamp:\n    pin: 4\n")]))
    assert fault.path == "panel.lamp.pin"
    assert "already used by the kernel's one-wire bus" in fault.problem
