"""Five hundred switchings, and a coil without a snubber that disturbs the bus at each."""

from collections.abc import Callable
from pathlib import Path

import pytest
from loop_bench import LoopBench

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.faults import BusError, ChipReset, ContactorStuckOpen
from supervisor.snapshot import Circuit

SWITCHINGS = 500
LONGEST_S = 5.0  # that closing or opening may take in here


def until(bench: LoopBench, seen: Callable[[], bool]) -> None:
    latest_s = bench.clock.now_s() + LONGEST_S
    while not seen():
        assert bench.clock.now_s() < latest_s, bench.mailbox.replies[-1]
        bench.loop.cycle()


def test_500_switchings_that_disturb_the_bus_reset_nothing_for_good(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    """At each opening both converters are reset and one transfer is lost; each is counted."""
    bench = LoopBench(hut_settings, tmp_path)
    bench.run(1.5)
    counters = bench.loop._parts.bus.counters
    assert (counters.errors, counters.reopenings) == (0, 0)
    for switching in range(SWITCHINGS):
        bench.mailbox.put("close")
        until(bench, lambda: bench.loop.guard.circuit is Circuit.CLOSED)
        bench.mailbox.put("open")
        until(bench, lambda: bench.loop.guard.circuit is Circuit.OPEN)
        bench.world.fault(ChipReset(kind="chip_reset"))
        bench.world.fault(BusError(kind="bus_error", errno=121, transfers=1))
        bench.loop.cycle()
        bench.world.clear("chip_reset")
        bench.world.clear("bus_error")
        assert counters.errors == switching + 1
        until(bench, lambda: bench.loop.guard.circuit is Circuit.OPEN)
        until(bench, bench.loop.guard.is_open_for_good)
    assert counters.errors == SWITCHINGS
    assert counters.reopenings == 0
    assert bench.loop.keeper.lockout is None
    bench.loop.close()


@pytest.mark.parametrize("period_s", [0.25, 0.5, 1.0, 3.0])
def test_a_contact_that_comes_and_goes_trips_and_is_locked_out(
    hut_settings: SupervisorSettings, tmp_path: Path, period_s: float
) -> None:
    """The contact lets go and closes again and again, with the knob where it charges."""
    bench = LoopBench(hut_settings, tmp_path)
    bench.world.knob(0.64)
    bench.run(1.5)
    bench.mailbox.put("close")
    until(bench, lambda: bench.loop.guard.circuit is Circuit.CLOSED)
    bench.world.knob(0.8, 10.0)
    bench.run(15.0)
    assert bench.loop.guard.circuit is Circuit.CLOSED
    loose = ContactorStuckOpen(kind="contactor_stuck_open")
    began_s = bench.clock.now_s()
    for beat in range(40):
        struck_s = began_s + beat * period_s
        bench.world.at(struck_s, lambda: bench.world.fault(loose))
        bench.world.at(struck_s + period_s / 2, lambda: bench.world.clear(loose.kind))
    while bench.loop.guard.circuit is Circuit.CLOSED:
        assert bench.clock.now_s() < began_s + 10.0
        bench.loop.cycle()
    lockout = bench.loop.keeper.lockout
    assert lockout
    assert lockout.tripped_by == "failed_to_close"
    bench.loop.close()
