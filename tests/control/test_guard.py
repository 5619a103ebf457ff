"""The guard alone, told decisions: permission, its end, and the name that a trip gets."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from guard_bench import CYCLE_S, PERMIT, GuardBench, decision, verdict
from loop_bench import with_level_drive

from supervisor.control.latch import Kept, Lockout
from supervisor.control.opening import Opening
from supervisor.journal.records import Value
from supervisor.protection.decision import Decision
from supervisor.protection.verdict import State
from supervisor.settings.model import SupervisorSettings
from supervisor.snapshot import Circuit

WALL = "2026-01-01T00:00:00+00:00"


@pytest.fixture
def bench(hut_settings: SupervisorSettings, tmp_path: Path) -> Iterator[GuardBench]:
    settings = with_level_drive(hut_settings)
    without = settings.contactor.model_copy(update={"auxiliary": None})
    bench = GuardBench(settings.model_copy(update={"contactor": without}), tmp_path)
    yield bench
    bench.contactor.close()


def test_it_stays_closed_while_every_cycle_permits(bench: GuardBench) -> None:
    bench.close()
    bench.cycles(5.0, PERMIT)
    assert bench.coil
    assert bench.guard.circuit is Circuit.CLOSED


def test_timing_keeps_the_permission_and_a_trip_ends_it_in_the_same_cycle(
    bench: GuardBench,
) -> None:
    bench.close()
    bench.cycles(2.0, decision("overvoltage", State.TIMING))
    assert bench.coil
    bench.guard.act(decision("overvoltage", State.TRIP), leaving=False)
    assert not bench.coil
    assert bench.keeper.lockout
    assert bench.keeper.lockout.tripped_by == "overvoltage"


def test_cycles_that_only_withhold_permission_end_in_a_lockout_named_after_the_doubt(
    bench: GuardBench,
) -> None:
    """Even if no rule ever trips: the lease runs out, and the circuit knows."""
    bench.close()
    doubt = decision("sensing", State.CANNOT_TELL)
    lease_s = bench.settings.lease_s
    bench.cycles(lease_s - 2 * CYCLE_S, doubt)
    assert bench.coil
    bench.cycles(4 * CYCLE_S, doubt)
    assert not bench.coil
    assert bench.guard.circuit is Circuit.LOCKED_OUT
    assert bench.keeper.lockout
    assert bench.keeper.lockout.tripped_by == "sensing"
    assert "sensing says cannot tell" in bench.keeper.lockout.reason


def test_a_loop_that_comes_back_after_its_lease_finds_the_circuit_open(bench: GuardBench) -> None:
    bench.close()
    bench.clock.sleep_until(bench.clock.now_s() + 3)
    assert not bench.coil, "the alarm acts while nobody cycles"
    bench.guard.act(PERMIT, leaving=False)
    assert not bench.coil
    assert bench.guard.circuit is Circuit.LOCKED_OUT
    assert bench.keeper.lockout
    assert bench.keeper.lockout.tripped_by == "stale"


def test_a_rule_that_is_timing_or_in_doubt_stands_in_the_way_of_closing(bench: GuardBench) -> None:
    for state in (State.TIMING, State.CANNOT_TELL, State.TRIP):
        hindering = decision("overvoltage", state)
        bench.cycles(0.1, PERMIT)
        bench.guard.begin_closing(PERMIT, "a test", lambda *answer: bench.answers.append(answer))
        bench.cycles(2.0, hindering)
        assert bench.answers[-1] == (False, f"not closed: overvoltage says {state.value}")
        assert not bench.coil
    assert bench.latch.read(WALL) is None, "disarmed again"


def test_disarming_never_touches_a_lockout(bench: GuardBench) -> None:
    bench.close()
    bench.guard.act(decision("overvoltage", State.TRIP), leaving=False)
    bench.keeper.store()
    bench.keeper.disarm("opened")
    found = bench.latch.read(WALL)
    assert found is not None
    assert found.tripped_by == "overvoltage"


def test_what_was_never_armed_is_not_cleared(bench: GuardBench) -> None:
    stored = Lockout("overvoltage", "kept from before", "look", WALL)
    bench.latch.lock(stored, Kept({}))
    bench.keeper.disarm("opened")
    assert bench.latch.read(WALL) == stored


def test_open_drops_the_coil_at_once(bench: GuardBench) -> None:
    bench.close()
    assert "dropped" in bench.guard.open("somebody")
    assert not bench.coil
    assert bench.guard.circuit is Circuit.OPEN


def test_open_is_possible_in_every_state(bench: GuardBench) -> None:
    assert "already" in bench.guard.open("somebody")
    bench.close()
    bench.guard.act(decision("overvoltage", State.TRIP), leaving=False)
    assert "already" in bench.guard.open("somebody")
    assert bench.guard.circuit is Circuit.LOCKED_OUT


def test_a_disk_that_is_full_for_a_while_does_not_clear_what_was_never_seen_to_open(
    bench: GuardBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Opened, but nobody could tell whether it did; then a close that cannot be written."""

    def full(*_args: object) -> None:
        raise OSError(28, "No space left on device")

    bench.close()
    bench.guard.open("a test")
    opening = bench.guard._opening
    assert opening is not None
    opening.outcome = Opening.UNKNOWN
    bench.guard._conclude_opening(opening)
    with monkeypatch.context() as disk:
        disk.setattr(bench.latch, "_write", full)
        bench.guard.begin_closing(PERMIT, "a test", lambda *answer: bench.answers.append(answer))
    assert bench.answers[-1] == (False, "not closed: the lockout file cannot be written")
    bench.guard.begin_closing(PERMIT, "a test", lambda *answer: bench.answers.append(answer))
    bench.cycles(2.0, decision("overvoltage", State.TIMING))
    assert not bench.answers[-1][0]
    assert bench.latch.read(WALL) is not None


def told_of_trip(bench: GuardBench) -> list[Mapping[str, Value]]:
    """The data of each trip from here on, as the record gets it."""
    trips: list[Mapping[str, Value]] = []

    def tell(code: str, _text: str, data: Mapping[str, Value]) -> None:
        if code == "trip":
            trips.append(data)

    bench.logbook.tell = tell
    return trips


OVER = verdict("overvoltage", State.TRIP)
EXPIRED = replace(verdict("sensing", State.TRIP), by_doubt=True)


@pytest.mark.parametrize(
    ("said", "by_doubt"),
    [(Decision(False, OVER, (OVER,)), False), (Decision(False, EXPIRED, (EXPIRED,)), True)],
    ids=["past its limit", "could not tell"],
)
def test_a_trip_is_told_with_whether_it_is_one_by_doubt(
    bench: GuardBench, said: Decision, by_doubt: bool
) -> None:
    bench.close()
    trips = told_of_trip(bench)
    bench.guard.act(said, leaving=False)
    assert [data["by_doubt"] for data in trips] == [by_doubt]


def test_permission_that_ran_out_is_a_trip_by_doubt(bench: GuardBench) -> None:
    bench.close()
    trips = told_of_trip(bench)
    bench.cycles(2 * bench.settings.lease_s, decision("sensing", State.CANNOT_TELL))
    assert [(data["rule"], data["by_doubt"]) for data in trips] == [("sensing", True)]


def test_the_reason_for_opening_is_recorded(bench: GuardBench) -> None:
    bench.close()
    bench.guard.open("anna", "the shunt says 28.7 A, your meter 20 A")
    opened = next(event for event in bench.logbook.events() if event.code == "opened")
    assert opened.text == "opened, asked by anna: the shunt says 28.7 A, your meter 20 A"
