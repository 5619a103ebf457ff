"""The second line in a whole loop: what it lets close, and what the loop makes of its alert."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from loop_bench import LoopBench, with_level_drive
from second_lines import GUARD, HIGH, LIMITS, LOW, TRIP_V, with_second_line

from supervisor.control.requests import Reply
from supervisor.devices import second_line
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.faults import AlertWireOpen, SecondLineElsewhere

CHECK_EVERY_S = 6.0  # in these tests; really ten minutes


@pytest.fixture(params=["level", "pulse"])
def bench(
    hut_settings: SupervisorSettings,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    request: pytest.FixtureRequest,
) -> Iterator[LoopBench]:
    monkeypatch.setattr(second_line, "CHECK_EVERY_S", CHECK_EVERY_S)
    settings = with_second_line(hut_settings)
    if request.param == "level":
        settings = with_level_drive(settings)
    bench = LoopBench(settings, tmp_path)
    yield bench
    bench.loop.close()


def further(bench: LoopBench, seconds: float) -> None:
    bench.run(bench.clock.now_s() + seconds)


def asked_to_close(bench: LoopBench) -> Reply:
    bench.mailbox.put("close")
    further(bench, 0.5)
    return bench.mailbox.replies[-1]


def closed(bench: LoopBench) -> LoopBench:
    bench.run(2.0)
    assert asked_to_close(bench).done
    assert bench.world.plant.contactor_closed
    return bench


def elsewhere(bench: LoopBench, volts: float) -> None:
    bench.world.fault(SecondLineElsewhere(kind="second_line_elsewhere", volts=volts))


def test_before_it_is_verified_closing_is_refused_in_words(bench: LoopBench) -> None:
    bench.run(0.7)
    reply = asked_to_close(bench)
    assert not reply.done
    assert "the second line is not verified yet" in reply.message
    bench.run(2.0)
    assert asked_to_close(bench).done


def test_not_closed_while_its_wire_is_open(bench: LoopBench) -> None:
    bench.world.fault(AlertWireOpen(kind="alert_wire_open"))
    bench.run(3.0)
    reply = asked_to_close(bench)
    assert not reply.done
    assert "its ALERT line did not go low" in reply.message


def test_nothing_closes_while_its_limit_is_moved(bench: LoopBench) -> None:
    """From time to time it is tried out again. Who asks meanwhile is told to wait."""
    chip = bench.world.chips[GUARD]
    bench.run(2.0)
    while chip._registers[HIGH] == LIMITS[1]:
        bench.loop.cycle()
    bench.mailbox.put("close")
    for _ in range(40):
        bench.loop.cycle()
        moved = chip._registers[LOW : HIGH + 1] != [*LIMITS]
        assert not (moved and bench.loop._parts.contactor.state().told_to_close)
    assert not bench.mailbox.replies[0].done
    assert "the self-check of the second line is under way" in bench.mailbox.replies[0].message
    assert asked_to_close(bench).done


def test_its_alert_drops_the_coil_trips_and_is_named(bench: LoopBench) -> None:
    closed(bench)
    elsewhere(bench, TRIP_V + 0.01)
    further(bench, 1.0)
    lockout = bench.loop.keeper.lockout
    assert lockout is not None
    assert lockout.tripped_by == "second_line"
    assert lockout.reason.startswith("the second line has dropped the coil")
    assert not bench.world.plant.contactor_closed


def test_the_lockout_stays_while_its_cause_does(bench: LoopBench) -> None:
    closed(bench)
    elsewhere(bench, TRIP_V + 0.01)
    further(bench, 2.0)
    bench.mailbox.put("reset", "looked at the bank")
    further(bench, 0.1)
    assert "the cause still stands" in bench.mailbox.replies[-1].message
    bench.world.clear("second_line_elsewhere")
    further(bench, 7.0)  # until it is tried out again, and passes
    bench.mailbox.put("reset", "looked at the bank")
    further(bench, 0.1)
    assert bench.mailbox.replies[-1].done, bench.mailbox.replies[-1].message
    assert asked_to_close(bench).done


def test_a_lead_that_came_off_opens_within_two_seconds(bench: LoopBench) -> None:
    closed(bench)
    elsewhere(bench, 0.0)
    further(bench, 2.0)
    lockout = bench.loop.keeper.lockout
    assert lockout is not None
    assert lockout.tripped_by == "second_line"
    assert "where the front cell reads" in lockout.reason


def test_it_gives_its_pin_back(bench: LoopBench) -> None:
    bench.loop.close()
    bench.loop = bench.new_loop()
    closed(bench)
