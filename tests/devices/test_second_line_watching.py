"""The second line in between its self-checks: what is found out while the contactor is closed.

Margins and times are the project's own choice (no source); the chip after its data sheet.
"""

from typing import Any

import pytest
from second_lines import CHECK_EVERY_S, RELEASE_V, TRIP_V, SecondLineBench, with_second_line

from supervisor.devices.second_line import CHECK_AGAIN_S
from supervisor.readings import SecondLine
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.faults_electronic import ChipAbsent, ChipReset
from supervisor.simulator.faults_second_line import AlertWireOpen

WIRE_OPEN = AlertWireOpen(kind="alert_wire_open")
RESET = ChipReset(kind="chip_reset", converter="guard")
ABSENT = ChipAbsent(kind="chip_absent", converter="guard")


# --- while the contactor is closed


@pytest.mark.parametrize("phase", range(0, 40, 3))
def test_a_reset_while_closed_is_found_within_a_second_and_nothing_is_moved(
    bench: SecondLineBench, phase: int
) -> None:
    """At every phase of the rotation through its registers."""
    bench.verified()
    bench.tell(closed=True)
    for _ in range(phase):
        assert bench.cycle().problem == ""
    bench.fault(RESET)
    seen = bench.run(0.6)
    assert "its converter is not as it was set" in seen[-1].problem
    assert bench.seen.verified_at_s is None
    assert bench.codes == (0x8000, 0x7FFF)
    bench.run(20.0)
    assert bench.codes == (0x8000, 0x7FFF)  # nothing is set anew behind a closed contactor
    assert "not as it was set" in bench.seen.problem
    bench.tell(closed=False)
    bench.run(2.0)
    assert bench.seen.problem == ""
    assert bench.has_its_limits


@pytest.mark.parametrize("register", [1, 2, 3])
def test_every_single_register_is_watched(bench: SecondLineBench, register: int) -> None:
    bench.verified()
    bench.tell(closed=True)
    bench.chip._registers[register] ^= 0x0200
    bench.run(0.6)
    assert "its converter is not as it was set" in bench.seen.problem


@pytest.mark.parametrize(("lead_v", "words"), [
    (0.0, "its converter reads 0.000 V where the front cell reads 3.296 V"),
    (3.20, "its converter reads 3.200 V where the front cell reads 3.296 V"),
])  # fmt: skip
def test_a_lead_that_came_off_while_closed_is_found(
    bench: SecondLineBench, lead_v: float, words: str
) -> None:
    bench.verified()
    bench.tell(closed=True)
    bench.front_reads = 3.296
    bench.move_lead(lead_v)
    bench.run(1.0)
    assert words in bench.seen.problem


def test_a_front_lead_that_reads_low_is_found(bench: SecondLineBench) -> None:
    """Two converters on one cell: whichever is wrong, they differ."""
    bench.verified()
    bench.tell(closed=True)
    bench.front_reads = bench.world.plant.cell_v(0) - 0.06
    bench.run(0.6)
    assert "look at the leads of both" in bench.seen.problem


def test_a_difference_that_a_step_of_the_current_explains_is_none(bench: SecondLineBench) -> None:
    bench.verified()
    bench.tell(closed=True)
    bench.front_reads = bench.world.plant.cell_v(0) - 0.045
    assert {one.problem for one in bench.run(2.0)} == {""}


def test_an_unreadable_front_cell_is_not_held_against_it(bench: SecondLineBench) -> None:
    bench.verified()
    bench.tell(closed=True)
    bench.front_is_blind = True
    assert {one.problem for one in bench.run(2.0)} == {""}


def test_two_wrong_words_in_a_row_are_no_verdict_and_three_are(bench: SecondLineBench) -> None:
    for wrong, lost in ((2, False), (3, True)):
        bench.tell(closed=False)
        bench.verified()
        bench.tell(closed=True)
        bench.run(0.3)
        bench.world.wire.trouble.error, bench.world.wire.trouble.error_transfers = 121, wrong
        errors = bench.keeper.counters.errors
        bench.run(1.0)
        assert bench.keeper.counters.errors == errors + wrong
        assert ("does not answer" in bench.seen.problem) is lost


def test_one_look_a_window(bench: SecondLineBench) -> None:
    """Two thresholds, one transfer each, then the reading, two: 4/3 a window of 7 to 8 cycles."""
    bench.verified()
    bench.tell(closed=True)
    before = bench.world.wire.transfers
    bench.run(10.0)
    assert bench.world.wire.transfers - before in range(115, 134)


# --- the alert


def test_an_alert_is_shown_stands_until_release_and_no_check_takes_it_away(
    bench: SecondLineBench,
) -> None:
    bench.verified()
    bench.tell(closed=True)
    bench.cell_at(TRIP_V + 0.01)
    assert bench.cycle() == SecondLine(True, "", bench.seen.verified_at_s)
    bench.tell(closed=False)
    bench.cell_at(RELEASE_V + 0.01)
    writes = bench.chip.conversions
    seen = bench.run(CHECK_EVERY_S + 5)
    assert bench.chip.conversions > writes
    assert {(one.alert, one.problem) for one in seen} == {(True, "")}
    bench.cell_at(RELEASE_V - 0.01)
    seen = bench.run(1.0)
    assert seen[0].alert is False
    assert seen[-1].problem == ""
    assert seen[-1].verified_at_s == pytest.approx(bench.clock.now_s(), abs=1.0)


def test_a_process_that_died_in_the_middle_of_its_check_leaves_no_alert_behind(
    bench: SecondLineBench,
) -> None:
    """The limit stands just below the cell, the line is low, and 3.5 V would not release it."""
    bench.cell_at(3.5)
    while bench.chip.alert_level:
        bench.cycle()
    bench.restart()
    assert bench.cycle().alert is True
    bench.verified()
    assert bench.seen.alert is False


def test_an_alert_the_converter_contradicts_is_a_problem(bench: SecondLineBench) -> None:
    bench.verified()
    bench.tell(closed=True)
    bench.fault(WIRE_OPEN)
    bench.cell_at(TRIP_V + 0.01)
    bench.run(0.6)
    assert "its converter reads 3.650 V, and its ALERT line is not low" in bench.seen.problem
    assert bench.seen.alert is False


# --- bus and pin


def test_a_pin_that_cannot_be_read_is_a_problem(bench: SecondLineBench) -> None:
    bench.verified()

    def broken() -> bool:
        raise OSError("line is gone")

    line = bench.world.settings.second_line
    assert line is not None
    bench.world.pin_factory.contacts[line.pin] = broken
    bench.run(0.1)
    assert "the pin of its ALERT line cannot be read (line is gone)" in bench.seen.problem
    bench.world.pin_factory.contacts[line.pin] = lambda: False
    bench.run(0.1)
    assert bench.seen.verified_at_s is None


def test_only_a_hang_is_the_keepers_matter(bench: SecondLineBench) -> None:
    """One chip that does not answer says nothing of the bus the others are on."""
    bench.fault(ABSENT)
    bench.run(20.0)
    assert bench.keeper.counters.reopenings == 0
    assert bench.keeper.counters.errors >= 3
    bench.world.wire.trouble.hang_s = 0.05
    bench.run(CHECK_AGAIN_S)
    assert bench.keeper.counters.reopenings == 1


class BreaksOnce:
    """Breaks one transfer, counted from now: an error, a shifted word, or a reset chip before."""

    def __init__(self, bench: SecondLineBench, number: int, how: str) -> None:
        self._bench, self._number, self._how = bench, number, how
        self._transfer = bench.world.wire.transfer
        bench.world.wire.transfer = self  # type: ignore[assignment]

    def __call__(self, *transfer: Any) -> bytes:
        self._number -= 1
        if self._number != 0:
            return self._transfer(*transfer)
        if self._how == "error":
            raise OSError(5, "Input/output error")
        if self._how == "reset":
            self._bench.fault(RESET)
        answer = self._transfer(*transfer)
        return bytes([*answer[1:], 0xFF]) if answer and self._how == "shifted" else answer


@pytest.mark.parametrize("how", ["error", "shifted", "reset"])
@pytest.mark.parametrize("number", range(1, 32))
def test_one_broken_transfer_anywhere_is_survived_and_never_verifies_a_chip_without_limit(
    hut_settings: SupervisorSettings, number: int, how: str
) -> None:
    """Some 21 transfers are a self-check, the others fall into the looks after it."""
    bench = SecondLineBench(with_second_line(hut_settings))
    BreaksOnce(bench, number, how)
    wrong_cycles = 0
    while bench.clock.now_s() < 3.0 or (bench.seen.problem and bench.clock.now_s() < 9.0):
        relied_on = bench.cycle().problem == ""
        wrong_cycles = wrong_cycles + 1 if relied_on and not bench.has_its_limits else 0
        assert wrong_cycles * bench.cycle_s < 0.6
    assert bench.seen.problem == ""
    assert bench.has_its_limits
    assert bench.most_transfers <= 2
