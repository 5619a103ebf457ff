"""Trouble of the machine the loop runs on: stalls, hangs, a clock that is set."""

import itertools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from loop_bench import LoopBench, with_level_drive

from supervisor.readings import Pace
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.faults import LeadOffset, LeadShorted, Stall, WallStep
from supervisor.sizing.response import budgets
from supervisor.snapshot import Circuit

STAGES = [
    ("_now.sampler", "sample"),
    ("_now.chain", "take"),
    ("_now.protection", "judge"),
    ("guard", "act"),
    ("guard", "follow_opening"),
    ("_parts.panel", "show"),
    ("_parts.publisher", "publish"),
    ("_pacer", "wait"),
]


def closed(settings: SupervisorSettings, folder: Path) -> LoopBench:
    bench = LoopBench(settings, folder)
    bench.run(1.5)
    bench.mailbox.put("close")
    bench.run(2.5)
    assert bench.loop.guard.circuit is Circuit.CLOSED
    return bench


def test_a_stall_of_ten_periods_is_counted_and_followed_by_no_burst(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    """Seven periods are a window. One without readings is no mean: it opens, and says why."""
    bench = closed(hut_settings, tmp_path)
    period_s = hut_settings.loop.cycle_s
    missed = bench.loop._pacer.misses
    bench.world.fault(Stall(kind="stall", seconds=10 * period_s))
    begun = []
    wait = bench.loop._pacer.wait

    def noted() -> Pace:
        pace = wait()
        begun.append(bench.clock.now_s())
        return pace

    bench.loop._pacer.wait = noted  # type: ignore[method-assign]
    for _ in range(30):
        bench.loop.cycle()
    gaps = [after - before for before, after in itertools.pairwise(begun)]
    assert 9 <= bench.loop._pacer.misses - missed <= 11
    early = [gap for gap in gaps if gap < 0.9 * period_s]
    # Back on the beat after the stall, and begun anew after the lockout is written: no ten of them.
    assert len(early) <= 5, "late cycles are not made up for"
    lockout = bench.loop.keeper.lockout
    assert lockout
    assert "permission to be closed ran out" in lockout.reason
    bench.loop.close()


def test_a_stall_of_three_periods_is_borne(
    hut_settings: SupervisorSettings, tmp_path: Path
) -> None:
    bench = closed(hut_settings, tmp_path)
    missed = bench.loop._pacer.misses
    for _ in range(5):
        bench.world.fault(Stall(kind="stall", seconds=3 * hut_settings.loop.cycle_s))
        bench.run(bench.clock.now_s() + 4.0)
    assert bench.loop._pacer.misses - missed >= 10
    assert bench.loop.guard.circuit is Circuit.CLOSED
    bench.loop.close()


@pytest.mark.parametrize("lasts_s", [0.08, 0.15])
def test_a_lead_that_flickers_is_named_when_the_lease_ends_by_it(
    hut_settings: SupervisorSettings, tmp_path: Path, lasts_s: float
) -> None:
    """A spoilt window outlasts the flicker: only the other rules miss their mean then."""
    named = set()
    for phase in range(7):
        folder = tmp_path / str(phase)
        folder.mkdir()
        bench = closed(hut_settings, folder)
        bench.run(3.0 + phase * hut_settings.loop.cycle_s)
        flicker = LeadShorted(kind="lead_shorted", channel="front_cell")
        bench.world.fault(flicker)
        bench.run(bench.clock.now_s() + lasts_s)
        bench.world.clear("lead_shorted")
        bench.run(bench.clock.now_s() + 1.0)
        lockout = bench.loop.keeper.lockout
        named.add(lockout.tripped_by if lockout else None)
        bench.loop.close()
    assert named <= {None, "sensing"}


@pytest.mark.parametrize("drive", ["level", "pulse"])
@pytest.mark.parametrize("stage", STAGES, ids=".".join)
def test_whichever_stage_hangs_the_coil_drops_and_systemd_hears_nothing(
    hut_settings: SupervisorSettings,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    stage: tuple[str, str],
    drive: str,
) -> None:
    settings = with_level_drive(hut_settings) if drive == "level" else hut_settings
    bench = closed(settings, tmp_path)
    bench.world.knob(0.8)
    bench.run(3.0)
    part: Any = bench.loop
    for name in stage[0].split("."):
        part = getattr(part, name)
    alive_at_s: list[float] = []
    notifier = bench.loop._parts.notifier
    monkeypatch.setattr(notifier, "alive", lambda: alive_at_s.append(bench.clock.now_s()))
    hung_at_s: list[float] = []
    healthy: Callable[..., Any] = getattr(part, stage[1])

    def hangs(*args: Any, **kwargs: Any) -> Any:
        if not hung_at_s:
            hung_at_s.append(bench.clock.now_s())
            bench.clock.sleep_until(bench.clock.now_s() + 30.0)
        return healthy(*args, **kwargs)

    monkeypatch.setattr(type(part), stage[1], lambda _self, *a, **k: hangs(*a, **k))
    while not hung_at_s:
        bench.loop.cycle()
    (since_s,) = hung_at_s
    bench.world.catch_up()
    stopped_s = bench.world.plant.stopped_at_s
    assert stopped_s is not None
    hang = next(b for b in budgets(settings) if b.rule == "hang")
    assert stopped_s - since_s <= hang.response_s
    assert not [at_s for at_s in alive_at_s if since_s < at_s < since_s + 30.0]
    for _ in range(100):
        bench.loop.cycle()
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    bench.loop.close()


@pytest.mark.parametrize("step_s", [3.2e9, -3.2e9, 3600.0, -3600.0])
def test_a_clock_that_is_set_moves_no_trip_that_is_timed(
    hut_settings: SupervisorSettings, tmp_path: Path, step_s: float
) -> None:
    """An undervoltage is timed for two seconds; meanwhile the first time sync comes."""
    tripped_at_s = []
    for step in (None, step_s):
        folder = tmp_path / str(step)
        folder.mkdir()
        bench = closed(hut_settings, folder)
        bench.world.fault(LeadOffset(kind="lead_offset", channel="front_cell", volts=-1.0))
        bench.run(3.5)
        if step is not None:
            bench.world.fault(WallStep(kind="wall_step", seconds=step))
        while bench.loop.guard.circuit is Circuit.CLOSED:
            bench.loop.cycle()
        tripped_at_s.append(bench.clock.now_s())
        lockout = bench.loop.keeper.lockout
        assert lockout
        assert lockout.tripped_by == "undervoltage"
        bench.loop.close()
    assert tripped_at_s[0] == tripped_at_s[1]
