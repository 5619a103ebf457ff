"""Faults at every boundary of the loop: whatever breaks, the coil is off and stays off."""

import errno
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from loop_bench import LoopBench, heal, with_level_drive

from supervisor.control.latch import Kept, Latch
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.faults import BusError, ContactorWelded, LeadOpen, StopButton
from supervisor.snapshot import Circuit

WALL = "2026-01-01T00:00:00+00:00"


@pytest.fixture
def bench(hut_settings: SupervisorSettings, tmp_path: Path) -> Iterator[LoopBench]:
    bench = LoopBench(with_level_drive(hut_settings), tmp_path)
    bench.run(1.5)
    yield bench
    bench.loop.close()


def closed(bench: LoopBench) -> LoopBench:
    bench.mailbox.put("close")
    bench.run(bench.clock.now_s() + 0.5)
    assert bench.loop.guard.circuit is Circuit.CLOSED, bench.mailbox.replies
    assert bench.coil
    return bench


def further(bench: LoopBench, seconds: float) -> None:
    bench.run(bench.clock.now_s() + seconds)


def fails(error: BaseException) -> Callable[..., Any]:
    def raises(*_args: object, **_kwargs: object) -> None:
        raise error

    return raises


@pytest.mark.parametrize(
    "where",
    [
        ("_now.chain", "take"),
        ("_now.protection", "judge"),
        ("_viewer", "snapshot"),
        ("_parts.panel", "show"),
        ("_parts.panel", "stop_pressed"),
        ("_parts.panel", "reset_held"),
        ("_parts.publisher", "publish"),
        ("_now.sampler", "sample"),
        ("_pacer", "wait"),
        ("guard", "follow_opening"),
    ],
    ids=".".join,
)
@pytest.mark.parametrize(
    "error", [RuntimeError("broken"), MemoryError(), KeyboardInterrupt()], ids=repr
)
def test_an_error_anywhere_in_the_cycle_opens_locks_out_and_ends(
    bench: LoopBench,
    monkeypatch: pytest.MonkeyPatch,
    where: tuple[str, str],
    error: BaseException,
) -> None:
    closed(bench)
    part: Any = bench.loop
    for name in where[0].split("."):
        part = getattr(part, name)
    monkeypatch.setattr(type(part), where[1], fails(error))
    with pytest.raises(type(error)):
        bench.loop.run()
    assert not bench.coil
    monkeypatch.undo()
    found = Latch(bench.folder).read(WALL)
    assert found is not None
    assert type(error).__name__ in found.reason


def test_a_coil_pin_that_cannot_be_written_drops_the_mains_side(
    bench: LoopBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    closed(bench)
    drive = bench.loop._parts.contactor._drive
    monkeypatch.setattr(drive, "drop", fails(OSError(errno.EIO, "GPIO gone")))
    bench.mailbox.put("open")
    while bench.clock.now_s() < 6.0:
        bench.loop.cycle()
    assert bench.coil, "that is the fault"
    assert not bench.world.plant.current_a
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    assert bench.loop.keeper.lockout
    assert bench.loop.keeper.lockout.failed_to_open
    monkeypatch.undo()


def test_a_holding_pin_that_cannot_be_written_opens(
    bench: LoopBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    closed(bench)
    drive = bench.loop._parts.contactor._drive
    monkeypatch.setattr(drive, "hold", fails(OSError(errno.EIO, "GPIO gone")))
    with pytest.raises(OSError, match="GPIO gone"):
        bench.loop.run()
    assert not bench.coil


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EIO])
def test_it_does_not_close_when_the_latch_cannot_be_armed(
    bench: LoopBench, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    monkeypatch.setattr(Latch, "_write", fails(OSError(number, "disk")))
    bench.mailbox.put("close")
    further(bench, 2.0)
    assert not bench.coil
    assert not bench.mailbox.replies[-1].done
    assert "cannot be written" in bench.mailbox.replies[-1].message


def test_a_trip_on_a_full_disk_opens_as_fast_and_is_stored_when_there_is_room(
    bench: LoopBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    closed(bench)
    monkeypatch.setattr(Latch, "_write", fails(OSError(errno.ENOSPC, "disk")))
    struck_s = bench.clock.now_s()
    bench.world.fault(StopButton(kind="stop_button"))
    further(bench, 3.0)
    (_, off_s) = bench.spells_on()[-1]
    assert off_s - struck_s < 0.03
    assert bench.loop.keeper.lockout
    assert not bench.loop.keeper.stored
    assert Latch(bench.folder).read(WALL) is not None, "armed: a power cut now stays locked out"
    monkeypatch.undo()
    further(bench, 2.0)
    assert bench.loop.keeper.stored
    found = Latch(bench.folder).read(WALL)
    assert found is not None
    assert found.tripped_by == "external"


def test_a_disk_that_takes_seconds_delays_no_opening_and_trips_nothing(
    bench: LoopBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = Latch._write

    def slow(latch: Latch, state: dict[str, Any], keep: Kept) -> None:
        bench.clock.sleep_until(bench.clock.now_s() + 4.0)
        write(latch, state, keep)

    monkeypatch.setattr(Latch, "_write", slow)
    bench.mailbox.put("close")
    further(bench, 6.0)
    assert bench.loop.guard.circuit is Circuit.CLOSED
    struck_s = bench.clock.now_s()
    bench.mailbox.put("open")
    further(bench, 10.0)
    assert bench.spells_on()[-1][1] - struck_s < 0.03
    assert bench.loop.guard.circuit is Circuit.OPEN


def test_a_reset_is_refused_while_its_cause_stands_and_without_a_reason(bench: LoopBench) -> None:
    closed(bench)
    bench.world.fault(LeadOpen(kind="lead_open", channel="far_cell"))
    further(bench, 2.0)
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    bench.mailbox.put("reset", "nothing was done about it")
    further(bench, 0.1)
    assert "still stands" in bench.mailbox.replies[-1].message
    heal(bench)
    further(bench, 4.0)
    bench.mailbox.put("reset", "  ")
    further(bench, 0.1)
    assert "needs a reason" in bench.mailbox.replies[-1].message
    bench.mailbox.put("reset", "far lead re-fastened")
    further(bench, 0.1)
    assert bench.mailbox.replies[-1].done
    assert bench.loop.guard.circuit is Circuit.OPEN
    assert not bench.coil
    assert Latch(bench.folder).read(WALL) is None


def test_a_trip_survives_the_end_and_a_new_start(bench: LoopBench) -> None:
    closed(bench)
    bench.world.fault(BusError(kind="bus_error", errno=121))
    further(bench, 2.0)
    bench.loop.leave()
    bench.loop.run()
    bench.loop.close()
    heal(bench)
    bench.loop = bench.new_loop()
    further(bench, 2.0)
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    bench.mailbox.put("close")
    further(bench, 2.0)
    assert not bench.coil
    assert "locked out" in bench.mailbox.replies[-1].message


def test_leaving_while_a_close_is_under_way_does_not_close(bench: LoopBench) -> None:
    bench.mailbox.put("close")
    bench.loop.cycle()
    bench.loop.leave()
    bench.loop.run()
    assert not bench.mailbox.replies[-1].done
    assert bench.spells_on() == []
    assert Latch(bench.folder).read(WALL) is None


def test_opening_while_a_close_is_under_way_wins(bench: LoopBench) -> None:
    bench.mailbox.put("close")
    bench.mailbox.put("open")
    further(bench, 2.0)
    assert [reply.done for reply in bench.mailbox.replies] == [True, False]  # the open first
    assert bench.spells_on() == []


def test_two_closes_at_once_close_once(bench: LoopBench) -> None:
    bench.mailbox.put("close")
    bench.mailbox.put("close")
    further(bench, 1.0)
    assert sorted(reply.done for reply in bench.mailbox.replies) == [False, True]


def test_without_commissioning_or_its_acceptance_it_does_not_close(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    bare = hut_settings.model_copy(update={"uncommissioned": None, "uncommissioned_reason": None})
    bench = LoopBench(with_level_drive(bare), tmp_path)
    bench.run(1.5)
    bench.mailbox.put("close")
    further(bench, 2.0)
    assert "commissioning" in bench.mailbox.replies[-1].message
    assert bench.spells_on() == []
    bench.loop.close()


@pytest.mark.parametrize("opens", ["every_opening", "failed_opening"])
def test_welded_while_tripping_is_told_and_the_mains_side_opened(
    hut_settings: SupervisorSettings, tmp_path: Path, opens: str
) -> None:
    assert hut_settings.mains_contactor
    mains = hut_settings.mains_contactor.model_copy(update={"opens": opens})
    settings = with_level_drive(hut_settings).model_copy(update={"mains_contactor": mains})
    bench = LoopBench(settings, tmp_path)
    bench.run(1.5)
    closed(bench)
    bench.world.knob(0.9, 0.1)
    further(bench, 2.0)
    bench.world.fault(ContactorWelded(kind="contactor_welded"))
    bench.world.fault(StopButton(kind="stop_button"))
    further(bench, 3.0)
    lockout = bench.loop.keeper.lockout
    assert lockout is not None
    assert (lockout.tripped_by, lockout.failed_to_open) == ("external", True)
    assert not bench.world.plant.mains_on
    assert not bench.world.plant.current_a
    bench.loop.close()


def test_the_buzzer_sounds_in_a_lockout_and_the_lamp_shows_closed(bench: LoopBench) -> None:
    panel = bench.settings.panel
    assert panel.lamp
    assert panel.buzzer
    closed(bench)
    assert bench.level(panel.lamp.pin)
    bench.world.fault(StopButton(kind="stop_button"))
    heard = set()
    for _ in range(200):
        bench.loop.cycle()
        heard.add(bench.level(panel.buzzer.pin))
    assert heard == {False, True}
    assert not bench.level(panel.lamp.pin)


def test_the_reset_button_resets_when_held(bench: LoopBench) -> None:
    closed(bench)
    bench.world.fault(StopButton(kind="stop_button"))
    further(bench, 2.0)
    heal(bench)
    bench.world.press_reset(True)
    further(bench, 2.5)
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    further(bench, 1.0)
    assert bench.loop.guard.circuit is Circuit.OPEN
    assert not bench.coil


def test_a_reset_button_that_is_stuck_resets_nothing(bench: LoopBench) -> None:
    closed(bench)
    bench.world.fault(StopButton(kind="stop_button"))
    further(bench, 2.0)
    bench.loop.leave()
    bench.loop.run()
    bench.loop.close()
    heal(bench)
    bench.world.press_reset(True)
    bench.loop = bench.new_loop()
    further(bench, 10.0)
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    bench.world.press_reset(False)
    further(bench, 0.5)
    bench.world.press_reset(True)
    further(bench, 4.0)
    assert bench.loop.guard.circuit is Circuit.OPEN


def test_no_reset_while_the_stop_button_is_pressed(bench: LoopBench) -> None:
    closed(bench)
    bench.world.fault(StopButton(kind="stop_button"))
    further(bench, 2.0)
    bench.mailbox.put("reset", "somebody is in a hurry")
    further(bench, 0.2)
    assert "stop button is pressed" in bench.mailbox.replies[-1].message
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT


def test_a_reset_that_half_reached_the_disk_is_taken_back_there(
    bench: LoopBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file was replaced, then syncing the folder failed: who knows what a power cut leaves."""
    closed(bench)
    bench.world.fault(StopButton(kind="stop_button"))
    further(bench, 2.0)
    heal(bench)
    further(bench, 1.0)
    write = Latch._write

    def half(latch: Latch, state: dict[str, Any], keep: Kept) -> None:
        write(latch, state, keep)
        raise OSError(errno.EIO, "syncing the folder")

    monkeypatch.setattr(Latch, "_write", half)
    bench.mailbox.put("reset", "looked at it")
    further(bench, 0.1)
    assert not bench.mailbox.replies[-1].done
    monkeypatch.undo()
    further(bench, 3.0)
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    assert Latch(bench.folder).read(WALL) is not None


def test_what_cannot_be_seen_to_open_opens_the_mains_side_and_stays_armed(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    """Told to end, the contactor welded, the bus dead, no auxiliary contact: nothing can tell."""
    assert hut_settings.mains_contactor
    blind = with_level_drive(hut_settings)
    blind = blind.model_copy(
        update={
            "contactor": blind.contactor.model_copy(update={"auxiliary": None}),
            "mains_contactor": hut_settings.mains_contactor.model_copy(
                update={"opens": "failed_opening"}
            ),
        }
    )
    bench = LoopBench(blind, tmp_path)
    bench.run(1.5)
    closed(bench)
    bench.world.knob(0.9)
    further(bench, 1.0)
    bench.world.fault(ContactorWelded(kind="contactor_welded"))
    bench.loop.leave()
    bench.loop.cycle()
    bench.world.fault(BusError(kind="bus_error", errno=121))
    bench.loop.run()
    bench.clock.sleep_until(bench.clock.now_s() + 0.1)
    bench.world.catch_up()
    assert not bench.world.plant.current_a
    assert Latch(tmp_path).read(WALL) is not None
    bench.loop.close()


@pytest.mark.parametrize("stands_still_s", [0.6, 3.0])
def test_pulse_drive_does_not_pull_in_again_when_the_process_comes_back(
    hut_settings: SupervisorSettings, tmp_path: Path, stands_still_s: float
) -> None:
    """Stopped, swapped out or frozen with the pin high, then back: the pin falls, no more."""
    for cycles in range(4):  # with the pin high, and with it low
        bench = LoopBench(hut_settings, tmp_path)
        bench.run(1.5)
        bench.mailbox.put("close")
        further(bench, 0.5)
        bench.world.knob(0.9)
        further(bench, 0.5)
        for _ in range(cycles):
            bench.loop.cycle()
        stopped_s = bench.clock.now_s()
        bench.clock.stall(stands_still_s, alarms_too=True)
        while bench.loop.guard.circuit is Circuit.CLOSED:
            bench.loop.cycle()
        further(bench, 3.0)
        assert bench.world.plant.stopped_at_s is not None
        assert bench.world.plant.stopped_at_s < stopped_s + 0.3, "it closed once more"
        bench.loop.close()
        (tmp_path / "lockout.json").unlink()


def test_pulse_drive_does_not_pull_in_when_a_killed_process_is_started_again(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    for cycles in range(2):
        bench = LoopBench(hut_settings, tmp_path)
        bench.run(1.5)
        bench.mailbox.put("close")
        further(bench, 0.5)
        for _ in range(cycles):
            bench.loop.cycle()
        bench.loop._parts.contactor._alarm.cancel()
        bench.world.pin_factory.owner_dies()
        bench.clock.sleep_until(bench.clock.now_s() + 1.0)
        bench.world.catch_up()
        assert not bench.world.plant.contactor_closed
        dead, bench.loop = bench.loop, bench.new_loop()  # kept: nobody tidies up after a kill
        assert dead is not bench.loop
        for _ in range(200):
            bench.loop.cycle()
            bench.world.catch_up()
            assert not bench.world.plant.contactor_closed
        bench.loop.close()
        (tmp_path / "lockout.json").unlink()
