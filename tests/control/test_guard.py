"""The guard alone, told decisions: permission, its end, and the name that a trip gets."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from loop_bench import with_level_drive

from supervisor.control.guard import Guard
from supervisor.control.latch import Latch, Lockout
from supervisor.control.lockout import LockoutKeeper
from supervisor.control.logbook import Logbook
from supervisor.control.lookback import Lookback
from supervisor.devices.contactor import Contactor
from supervisor.devices.panel import Panel
from supervisor.protection.decision import Decision
from supervisor.protection.verdict import State, Verdict
from supervisor.settings.hardware import Panel as PanelSettings
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.pins import PlantFactory
from supervisor.snapshot import Circuit

CYCLE_S = 0.0143
WALL = "2026-01-01T00:00:00+00:00"
PERMIT = Decision(True, None, ())


def verdict(rule: str, state: State) -> Verdict:
    return Verdict(rule, state, 3.61, 3.6, "V", 0.0, f"{rule} says {state.value}")


def decision(rule: str, state: State) -> Decision:
    one = verdict(rule, state)
    return Decision(
        state in (State.CLEAR, State.TIMING), one if state is State.TRIP else None, (one,)
    )


class Bench:
    """A guard on mock pins, without measurement or rules."""

    def __init__(self, settings: SupervisorSettings, folder: Path) -> None:
        self.settings = settings
        self.clock = SimulatedClock()
        self.pins = PlantFactory(self.clock.now_s)
        self.contactor = Contactor(settings, self.pins, self.clock)
        self.logbook = Logbook(self.clock)
        self.latch = Latch(folder)
        self.keeper = LockoutKeeper(
            self.latch, self.logbook, self.clock, lookback=Lookback(), memories=dict,
            after_write=lambda: None,
        )  # fmt: skip
        panel = Panel(PanelSettings(), self.pins)
        self.guard = Guard(
            settings, self.clock, self.contactor, panel, self.keeper, self.logbook, {}
        )
        self.answers: list[tuple[bool, str]] = []

    def cycles(self, seconds: float, decision: Decision) -> None:
        until_s = self.clock.now_s() + seconds
        while self.clock.now_s() < until_s:
            self.guard.act(decision, leaving=False)
            self.clock.sleep_until(self.clock.now_s() + CYCLE_S)

    def close(self) -> None:
        self.guard.begin_closing(PERMIT, "a test", lambda *answer: self.answers.append(answer))
        self.cycles(0.1, PERMIT)
        assert self.coil

    @property
    def coil(self) -> bool:
        return bool(self.pins.pin(self.settings.contactor.pin).state)


@pytest.fixture
def bench(hut_settings: SupervisorSettings, tmp_path: Path) -> Iterator[Bench]:
    settings = with_level_drive(hut_settings)
    without = settings.contactor.model_copy(update={"auxiliary": None})
    bench = Bench(settings.model_copy(update={"contactor": without}), tmp_path)
    yield bench
    bench.contactor.close()


def test_it_stays_closed_while_every_cycle_permits(bench: Bench) -> None:
    bench.close()
    bench.cycles(5.0, PERMIT)
    assert bench.coil
    assert bench.guard.circuit is Circuit.CLOSED


def test_timing_keeps_the_permission_and_a_trip_ends_it_in_the_same_cycle(bench: Bench) -> None:
    bench.close()
    bench.cycles(2.0, decision("overvoltage", State.TIMING))
    assert bench.coil
    bench.guard.act(decision("overvoltage", State.TRIP), leaving=False)
    assert not bench.coil
    assert bench.keeper.lockout
    assert bench.keeper.lockout.tripped_by == "overvoltage"


def test_cycles_that_only_withhold_permission_end_in_a_lockout_named_after_the_doubt(
    bench: Bench,
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


def test_a_loop_that_comes_back_after_its_lease_finds_the_circuit_open(bench: Bench) -> None:
    bench.close()
    bench.clock.sleep_until(bench.clock.now_s() + 3)
    assert not bench.coil, "the alarm acts while nobody cycles"
    bench.guard.act(PERMIT, leaving=False)
    assert not bench.coil
    assert bench.guard.circuit is Circuit.LOCKED_OUT
    assert bench.keeper.lockout
    assert bench.keeper.lockout.tripped_by == "stale"


def test_a_rule_that_is_timing_or_in_doubt_stands_in_the_way_of_closing(bench: Bench) -> None:
    for state in (State.TIMING, State.CANNOT_TELL, State.TRIP):
        hindering = decision("overvoltage", state)
        bench.cycles(0.1, PERMIT)
        bench.guard.begin_closing(PERMIT, "a test", lambda *answer: bench.answers.append(answer))
        bench.cycles(2.0, hindering)
        assert bench.answers[-1] == (False, f"not closed: overvoltage says {state.value}")
        assert not bench.coil
    assert bench.latch.read(WALL) is None, "disarmed again"


def test_disarming_never_touches_a_lockout(bench: Bench) -> None:
    bench.close()
    bench.guard.act(decision("overvoltage", State.TRIP), leaving=False)
    bench.keeper.store()
    bench.keeper.disarm("opened")
    found = bench.latch.read(WALL)
    assert found is not None
    assert found.tripped_by == "overvoltage"


def test_what_was_never_armed_is_not_cleared(bench: Bench) -> None:
    stored = Lockout("overvoltage", "kept from before", "look", WALL)
    bench.latch.lock(stored, {})
    bench.keeper.disarm("opened")
    assert bench.latch.read(WALL) == stored


def test_open_drops_the_coil_at_once(bench: Bench) -> None:
    bench.close()
    assert "dropped" in bench.guard.open("somebody")
    assert not bench.coil
    assert bench.guard.circuit is Circuit.OPEN


def test_open_is_possible_in_every_state(bench: Bench) -> None:
    assert "already" in bench.guard.open("somebody")
    bench.close()
    bench.guard.act(decision("overvoltage", State.TRIP), leaving=False)
    assert "already" in bench.guard.open("somebody")
    assert bench.guard.circuit is Circuit.LOCKED_OUT
