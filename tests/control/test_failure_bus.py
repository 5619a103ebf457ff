"""Trouble on the I2C bus as people report it, through the whole loop."""

from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import Literal

import pytest
from loop_bench import LoopBench

from supervisor.readings import Channel, Pace, Readings
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.faults import BusError, BusStuckLow, FaultSettings
from supervisor.sizing.response import budgets
from supervisor.snapshot import Circuit

Errno = Literal[5, 6, 110, 121]
CONFIG = 0x01  # the register a second owner writes to


@pytest.fixture
def bench(hut_settings: SupervisorSettings, tmp_path: Path) -> Iterator[LoopBench]:
    """Closed, with a current flowing."""
    bench = LoopBench(hut_settings, tmp_path)
    bench.world.knob(0.64)
    bench.run(1.5)
    bench.mailbox.put("close")
    bench.run(2.5)
    bench.world.knob(0.8, 10.0)
    bench.run(14.0)
    assert bench.loop.guard.circuit is Circuit.CLOSED
    assert bench.world.plant.current_a > 20
    yield bench
    bench.loop.close()


def budget_s(bench: LoopBench, rule: str) -> float:
    return next(budget.response_s for budget in budgets(bench.settings) if budget.rule == rule)


def opened_after_s(bench: LoopBench, fault: FaultSettings) -> float:
    struck_s = bench.clock.now_s()
    bench.world.fault(fault)
    bench.run(struck_s + 3.0)
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    assert bench.world.plant.stopped_at_s is not None
    return bench.world.plant.stopped_at_s - struck_s


@pytest.mark.parametrize("number", [5, 6, 110, 121])
def test_each_error_of_the_kernel_that_lasts_opens_within_the_budget(
    bench: LoopBench, number: Errno
) -> None:
    took_s = opened_after_s(bench, BusError(kind="bus_error", errno=number))
    assert took_s <= budget_s(bench, "stale")
    lockout = bench.loop.keeper.lockout
    assert lockout
    assert lockout.tripped_by == "stale"


def test_a_wire_that_is_pulled_out_and_reads_zeros_does_not_hang_the_loop(bench: LoopBench) -> None:
    misses = bench.loop._pacer.misses
    took_s = opened_after_s(bench, BusStuckLow(kind="bus_stuck_low"))
    assert took_s <= budget_s(bench, "sensing")
    assert bench.loop._pacer.misses - misses < 15, "the loop keeps its time"


@pytest.mark.parametrize("number", [5, 6, 110, 121])
def test_a_bus_state_that_was_lost_is_found_by_reopening_and_nothing_trips(
    bench: LoopBench, number: Errno
) -> None:
    reopened = bench.loop._parts.bus.counters.reopenings
    bench.world.fault(BusError(kind="bus_error", errno=number, until_reopened=True))
    bench.run(bench.clock.now_s() + 3.0)
    assert bench.loop.guard.circuit is Circuit.CLOSED
    assert bench.loop._parts.bus.counters.reopenings == reopened + 1


@pytest.mark.parametrize("seed", range(6))
def test_a_second_owner_of_the_bus_never_puts_a_wrong_value_in(bench: LoopBench, seed: int) -> None:
    """Another program configures the chips now and then: other input, other range, stopped."""
    dice = Random(seed)
    truth = bench.world.plant

    def intrude() -> None:
        chip = bench.world.wire.chips[dice.choice([0x48, 0x49])]
        word = dice.choice([0x8583, 0xC383, 0xF383, 0x42E3, 0x0183])
        chip.write(bytes([CONFIG]) + word.to_bytes(2, "big"), bench.clock.now_s())

    for _ in range(400):
        bench.world.at(bench.clock.now_s() + dice.uniform(0, 6), intrude)
    acquire = bench.loop._acquire
    told = []

    def noted(pace: Pace) -> Readings:
        readings = acquire(pace)
        told.append((readings.scan[Channel.FRONT_CELL].good_value, truth.cell_v(0)))
        return readings

    bench.loop._acquire = noted  # type: ignore[method-assign]
    bench.run(bench.clock.now_s() + 6.0)
    believed = [(read_v, true_v) for read_v, true_v in told if read_v is not None]
    assert believed, "some conversions are never met"
    assert len(believed) < len(told), "and some are"
    assert max(abs(read_v - true_v) for read_v, true_v in believed) < 0.02
