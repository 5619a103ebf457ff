"""Settings that contradict each other: each refused with its line, reason and remedy."""

import re
from typing import Any, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.settings.cross_checks import contradictions
from supervisor.settings.model import SupervisorSettings


class Case(NamedTuple):
    name: str
    edits: list[tuple[str, str]]
    words: str  # of the faulty line; the one of the nearest parent when the key is not written
    path: str
    problem: str
    remedy: str


NEVER = "never_above_volts: 3.65"
CELL_B = '    inputs: "2-3"\n'
OVER, HIGH = "protection.overvoltage.trip_volts", "protection.overvoltage_high_set.trip_volts"
AMPERES = "protection.overcurrent.trip_amperes"
SECOND = "converter: cells\n    # The second"
CELL_A = 'negative.\n    inputs: "0-1"\n'
SHUNT = '    inputs: "0-1"\n\n    # 0.256'
RANGE = '"2-3"\n    # As above.\n    range_volts: 4.096'
DROPOUT = "  dropout_milliseconds: 250\n"
SUPPLY = "supply_volts: 5.0\n  current"
SCANS = "scans_per_window: 7\n"

VOLTAGES = [
    Case("trip at never above", [("trip_volts: 3.60", "trip_volts: 3.65"),
         ("trip_volts: 3.63", "trip_volts: 3.649")],
         "trip_volts: 3.65", OVER, "3.65 V is not below bank.never_above_volts", "well below 3.65"),
    Case("high set above never above", [("trip_volts: 3.63", "trip_volts: 3.7")],
         "trip_volts: 3.7", HIGH, "3.7 V is not below bank.never_above_volts", "well below 3.65"),
    Case("high set not above", [("trip_volts: 3.63", "trip_volts: 3.59")],
         "trip_volts: 3.59", HIGH, "not above overvoltage.trip_volts", "between 3.6 and 3.65"),
    Case("slope watched too late", [("above_volts: 3.45", "above_volts: 3.60")],
         "    above_volts: 3.60", "protection.rate_of_rise.above_volts",
         "not below overvoltage.trip_volts", "below 3.6"),
    Case("undervoltage too high", [("trip_volts: 2.5", "trip_volts: 3.5")],
         "trip_volts: 3.5", "protection.undervoltage.trip_volts",
         "not below rate_of_rise.above_volts", "such as 2.5"),
    Case("undervoltage implausible", [("trip_volts: 2.5", "trip_volts: 0.9")],
         "  front_cell:", "channels.front_cell.plausible_volts",
         "not below undervoltage.trip_volts", "well below 0.9"),
    Case("plausible reversed", [(CELL_B, CELL_B + "    plausible_volts: [4.0, 1.0]\n")],
         "plausible_volts: [4.0, 1.0]", "channels.far_cell.plausible_volts",
         "4 is not below 1", "lower voltage first"),
    Case("plausible below limit", [(CELL_B, CELL_B + "    plausible_volts: [1.0, 3.63]\n")],
         "plausible_volts: [1.0, 3.63]", "channels.far_cell.plausible_volts",
         "not above the highest limit, 3.63 V", "well above 3.63"),
    Case("plausible above undervoltage", [(CELL_B, CELL_B + "    plausible_volts: [2.5, 4.0]\n")],
         "plausible_volts: [2.5, 4.0]", "channels.far_cell.plausible_volts",
         "The lower end, 2.5 V", "well below 2.5"),
    Case("range too small", [(RANGE, RANGE.replace("4.096", "2.048"))],
         "range_volts: 2.048", "channels.far_cell.range_volts",
         "3.65 V at the cell are 3.650 V", "next larger"),
    Case("gain leaves the range", [(CELL_B, CELL_B + "    gain: 0.9\n")],
         "range_volts", "channels.far_cell.range_volts", "are 4.056 V", "divider"),
    Case("offset leaves the range", [(CELL_B, CELL_B + "    gain: 0.94\n    offset_volts: -0.1\n")],
         "range_volts", "channels.far_cell.range_volts", "are 3.989 V", "divider"),
    Case("above the supply", [(SUPPLY, SUPPLY.replace("5.0", "3.3"))],
         "supply_volts: 3.3", "converters.cells.supply_volts",
         "up to 3.650 V on an input of cells", "5 V"),
]  # fmt: skip

CURRENTS = [
    Case("beyond two thirds", [("trip_amperes: 130", "trip_amperes: 134")],
         "trip_amperes: 134", AMPERES, "more than two thirds of the shunt's 200 A", "at most 133"),
    Case("outside the range", [("range_volts: 0.256", "range_volts: 0.512"),
         ("rated_millivolts: 50", "rated_millivolts: 250"),
         ("range_volts: 0.512", "range_volts: 0.256"),
         ("shunt_accuracy_percent: 0.25", "gain: 0.75")],
         "range_volts: 0.256", "channels.shunt.range_volts", "162.5 A", "next larger"),
    Case("reverse above overcurrent", [("trip_amperes: 3\n", "trip_amperes: 130.0\n")],
         "trip_amperes: 130.0", "protection.reverse_current.trip_amperes",
         "more than a tenth of overcurrent.trip_amperes", "at most 13"),
    Case("reverse in the noise", [("trip_amperes: 3\n", "trip_amperes: 0.2\n")],
         "trip_amperes: 0.2", "protection.reverse_current.trip_amperes",
         "0.2 A is less than", "more than 0.25"),
    Case("failed to open above overcurrent", [("current_amperes: 3", "current_amperes: 200")],
         "current_amperes: 200", "protection.failed_to_open.current_amperes",
         "more than a tenth of overcurrent.trip_amperes", "at most 13"),
    Case("failed to open in the noise", [("current_amperes: 3", "current_amperes: 0.1")],
         "current_amperes: 0.1", "protection.failed_to_open.current_amperes",
         "0.1 A is less than", "more than 0.25"),
]  # fmt: skip

PINS = [
    *[
        Case(f"contactor on GPIO {pin}", [("  pin: 17\n", f"  pin: {pin}\n")],
             f"  pin: {pin}", "contactor.pin", problem, "16, 17 or 22 to 27")
        for pin, problem in [
            (0, "while the Raspberry Pi starts"), (1, "while the Raspberry Pi starts"),
            (2, "I2C bus"), (3, "I2C bus"), (4, "high from power-on"), (5, "high from power-on"),
            (6, "high from power-on"), (7, "high from power-on"), (8, "high from power-on"),
            (14, "serial console"), (15, "serial console"),
        ]
    ],
    Case("mains on GPIO 4", [("  pin: 22\n", "  pin: 4\n")],
         "  pin: 4", "mains_contactor.pin", "high from power-on", "16, 17 or 22 to 27"),
    Case("buzzer on the bus", [("    pin: 25\n", "    pin: 2\n")],
         "    pin: 2\n", "panel.buzzer.pin", "I2C bus", "16, 17 or 22 to 27"),
    Case("stop button on the bus", [("    pin: 23\n", "    pin: 3\n")],
         "    pin: 3\n", "panel.stop_button.pin", "I2C bus", "16, 17 or 22 to 27"),
    Case("stop button on the console", [("    pin: 23\n", "    pin: 14\n")],
         "    pin: 14", "panel.stop_button.pin", "serial console", "16, 17 or 22 to 27"),
    Case("auxiliary on the identity pins", [("    pin: 27\n", "    pin: 1\n")],
         "    pin: 1\n", "contactor.auxiliary.pin", "add-on boards", "16, 17 or 22 to 27"),
    Case("one pin twice", [("    pin: 16\n", "    pin: 24\n")],
         "    pin: 24", "panel.lamp.pin", "already used by panel.reset_button", "its own pin"),
]  # fmt: skip

WIRING = [
    Case("unknown converter", [(SECOND, SECOND.replace("cells", "cels"))],
         "converter: cels", "channels.far_cell.converter", 'no converter "cels"', "Write cells."),
    Case("unknown converter, none near",
         [(SECOND, SECOND.replace("cells", "xyz"))],
         "converter: xyz", "channels.far_cell.converter", 'no converter "xyz"', "Name one of them"),
    Case("unused converter", [("\nchannels:\n", "\n  spare:\n    address: 0x4A\n\nchannels:\n")],
         "  spare:", "converters.spare", "No channel uses the converter spare", "Take the block"),
    Case("one address twice", [("address: 0x49", "address: 0x48 # too")],
         "address: 0x48 # too", "converters.current.address",
         "current and cells have the same address 0x48", "ADDR"),
    Case("one input twice", [('inputs: "2-3"', 'inputs: "1-3"')],
         'inputs: "1-3"', "channels.far_cell.inputs", "Input 1 of converter cells", "Only input 3"),
    Case("input against ground and in a pair", [('inputs: "2-3"', 'inputs: "0"')],
         'inputs: "0"', "channels.far_cell.inputs", "Input 0 of converter cells", "Only input 3"),
    Case("shared negative also positive",
         [(CELL_A, CELL_A.replace("0-1", "0-3")),
          ('inputs: "2-3"', 'inputs: "3"')],
         'inputs: "3"', "channels.far_cell.inputs", "Input 3 of converter cells", "Only input 3"),
    Case("shunt against ground",
         [(SHUNT, SHUNT.replace("0-1", "0"))],
         'inputs: "0"', "channels.shunt.inputs", "against the ground", "0-1"),
]  # fmt: skip

PERMISSION = [
    Case("uncommissioned without reason",
         [("uncommissioned_reason: Example", "# uncommissioned_reason: Example")],
         "uncommissioned: accepted", "uncommissioned", "without a reason", "uncommissioned_reason"),
    Case("reason without uncommissioned", [("uncommissioned: accepted", "# accepted: not")],
         "uncommissioned_reason: Ex", "uncommissioned_reason", "not accepted", "take the reason"),
]  # fmt: skip

TIMING = [
    *[
        Case(f"{scans} scans beat in {window} ms",
             [(SCANS, f"scans_per_window: {scans}\n  window_milliseconds: {window}\n")],
             f"scans_per_window: {scans}", "loop.scans_per_window",
             f"the ripple of {hz} Hz mains", "Write scans_per_window: ")
        for window, hz, counts in [
            (100, 50, (5, 10)), (100, 60, (4, 6, 12)),
            (200, 50, (4, 5, 10, 20)), (200, 60, (6, 8, 12, 24)),
        ]
        for scans in counts
    ],
    Case("scan does not fit", [(SCANS, "scans_per_window: 11\n")],
         "scans_per_window: 11", "loop.scans_per_window",
         "One scan takes 9.7 ms, but a cycle is only 9.1 ms", "scans_per_window: 9"),
    Case("slow converter does not fit",
         [("samples_per_second: 860\n\n", "samples_per_second: 250\n\n")],
         "scans_per_window: 7", "loop.scans_per_window", "One scan takes 16.2 ms",
         "scans_per_window: 7 with window_milliseconds: 200"),
    Case("pulse without dropout", [(DROPOUT, "")],
         "contactor:", "contactor.dropout_milliseconds", "drive is pulse", "Measure"),
    Case("level with dropout", [("drive: pulse", "drive: level")],
         "dropout_milliseconds: 250", "contactor.dropout_milliseconds", "drive is level",
         "Take dropout_milliseconds out"),
    Case("dropout longer than lease", [(DROPOUT, "  dropout_milliseconds: 401\n")],
         "dropout_milliseconds: 401", "contactor.dropout_milliseconds",
         "longer than the lease of 400 ms", "at most 400 ms"),
    Case("dropout hides the cause", [(DROPOUT, "  dropout_milliseconds: 210\n")],
         "dropout_milliseconds: 210", "contactor.dropout_milliseconds",
         "not longer than sensing.trip_after_seconds (200 ms) and one cycle", "more than 243"),
    Case("dropout within three cycles", [(DROPOUT, "  dropout_milliseconds: 40\n")],
         "dropout_milliseconds: 40", "contactor.dropout_milliseconds",
         "shorter than 3 cycles", "at least 72"),
    Case("lease within three cycles",
         [(SCANS, "lease_milliseconds: 80\n  scans_per_window: 7\n  window_milliseconds: 200\n")],
         "lease_milliseconds: 80", "loop.lease_milliseconds", "shorter than 3 cycles of 28.6 ms",
         "at least 86"),
    Case("lease hides the cause", [(SCANS, SCANS + "  lease_milliseconds: 214\n")],
         "lease_milliseconds: 214", "loop.lease_milliseconds",
         "not longer than sensing.trip_after_seconds", "more than 215"),
    Case("lease hides a late loop", [("trip_late_seconds: 0.2", "trip_late_seconds: 0.5")],
         "loop:", "loop.lease_milliseconds",
         "not longer than loop_overrun.trip_late_seconds (500 ms)", "lower loop_overrun"),
    Case("sensing trips on one reading",
         [("0.2\n    # With the contactor open", "0.03\n    # With the contactor open")],
         "trip_after_seconds: 0.03", "protection.sensing.trip_after_seconds",
         "shorter than 3 cycles", "at least 0.043"),
    Case("stale trips at once", [("0.2\n\n  # The coil", "0.01\n\n  # The coil")],
         "trip_after_seconds: 0.01", "protection.stale.trip_after_seconds",
         "shorter than 3 cycles", "at least 0.043"),
    Case("misses that cannot happen", [("    # in_seconds: 10.0", "    in_seconds: 0.2")],
         "  loop_overrun:", "protection.loop_overrun.trip_misses",
         "fewer than 15 cycles in 0.2 s", "longer in_seconds"),
    Case("opening looks like a failure", [("    within_seconds: 0.5", "    within_seconds: 0.47")],
         "within_seconds: 0.47", "protection.failed_to_open.within_seconds",
         "two windows together, 0.48 s", "at least 0.48"),
    Case("confirm more than of",
         [("    # of: 4\n\n  # Single", "    confirm: 5\n  # Single")],
         "confirm: 5", "protection.overvoltage.confirm", "5 out of 4", "at most 4"),
]  # fmt: skip

CASES = VOLTAGES + CURRENTS + PINS + WIRING + PERMISSION + TIMING


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_contradiction(case: Case, hut_text: str, edited: Any, faults_in: Any) -> None:
    text = edited(hut_text, case.edits)
    fault = next(f for f in faults_in(text) if f.path == case.path and case.problem in f.problem)
    assert case.remedy in fault.remedy
    assert fault.why
    assert fault.line == expected_line(text, case)
    assert case.words.strip() in text.splitlines()[fault.line - 1]


def expected_line(text: str, case: Case) -> int:
    """The line of the key, found by walking down the indentation; of a parent when not written."""
    line, keys = 0, case.path.split(".")
    lines = text.splitlines()
    for depth, key in enumerate(keys):
        for number in range(line, len(lines)):
            stripped = lines[number].strip()
            indent = len(lines[number]) - len(lines[number].lstrip())
            if stripped and not stripped.startswith("#") and indent < 2 * depth:
                return line
            if indent == 2 * depth and stripped.startswith(f"{key}:"):
                line = number + 1
                break
    return line


ALLOWED = [
    [("    pin: 25\n", "    pin: 5\n")],  # a buzzer may sound until the program starts
    [("    pin: 23\n", "    pin: 6\n")],  # a button against a pull-up
    [(CELL_A, CELL_A.replace("0-1", "0-3"))],
    [("trip_amperes: 130", "trip_amperes: 133")],
    [("drive: pulse", "drive: level"), (DROPOUT, "")],
    [(DROPOUT, "  dropout_milliseconds: 270\n")],
    [(SCANS, "scans_per_window: 9\n")],
    [(SCANS, "scans_per_window: 14\n  window_milliseconds: 200\n"),
     ("    within_seconds: 0.5", "    within_seconds: 0.7")],
    [("kilohertz: 100", "kilohertz: 400"), (SCANS, "scans_per_window: 16\n")],
    [(SUPPLY, SUPPLY.replace("5.0", "3.3")),
     (CELL_B, CELL_B + "    gain: 2.0\n"),
     (CELL_A, CELL_A + "    gain: 2.0\n")],
    [("uncommissioned: accepted\n", ""),
     ("uncommissioned_reason: Example for demo and drills, no real cells are connected\n", "")],
]  # fmt: skip


@pytest.mark.parametrize("edits", ALLOWED)
def test_no_contradiction(
    edits: list[tuple[str, str]], hut_text: str, edited: Any, faults_in: Any
) -> None:
    assert faults_in(edited(hut_text, edits)) == ()


@given(
    scans=st.integers(4, 40),
    window=st.sampled_from([100, 200]),
    rate=st.sampled_from([250, 475, 860]),
    kilohertz=st.sampled_from([100, 400]),
)
def test_the_scans_proposed_are_accepted(
    hut_settings: SupervisorSettings, scans: int, window: int, rate: int, kilohertz: int
) -> None:
    settings = with_timing(hut_settings, scans, window, rate, kilohertz)
    for found in contradictions(settings):
        if found.path != "loop.scans_per_window":
            continue
        proposal = PROPOSAL.search(found.remedy)
        assert proposal, found.remedy
        better = with_timing(
            hut_settings, int(proposal[1]), int(proposal[2] or window), rate, kilohertz
        )
        paths = [c.path for c in contradictions(better)]
        assert "loop.scans_per_window" not in paths


PROPOSAL = re.compile(r"scans_per_window: (\d+)(?: with window_milliseconds: (\d+))?")


def with_timing(
    settings: SupervisorSettings, scans: int, window: int, rate: int, kilohertz: int
) -> SupervisorSettings:
    loop = {"scans_per_window": scans, "window_milliseconds": window}
    converters = {
        name: converter.model_copy(update={"samples_per_second": rate})
        for name, converter in settings.converters.items()
    }
    return settings.model_copy(
        update={
            "loop": settings.loop.model_copy(update=loop),
            "bus": settings.bus.model_copy(update={"kilohertz": kilohertz}),
            "converters": converters,
        }
    )


def test_one_mistake_is_told_once(hut_text: str, edited: Any, faults_in: Any) -> None:
    """Above never_above_volts, there is no room left for the high set: not a second fault."""
    faults = faults_in(edited(hut_text, [("trip_volts: 3.60", "trip_volts: 3.8")]))
    assert [f.path for f in faults] == [OVER]


def test_contradictions_come_all_at_once(hut_text: str, edited: Any, faults_in: Any) -> None:
    edits = [("  pin: 22\n", "  pin: 17\n"), (NEVER, "never_above_volts: 3.55"),
             ("trip_amperes: 130", "trip_amperes: 180")]  # fmt: skip
    paths = [f.path for f in faults_in(edited(hut_text, edits))]
    assert paths == ["mains_contactor.pin", OVER, HIGH, AMPERES]
