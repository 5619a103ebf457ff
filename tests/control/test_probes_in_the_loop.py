"""Temperature probes in the whole loop: what they forbid, and what they must not disturb."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from loop_bench import LoopBench
from probes import CELL, SERIAL, SINK, with_probes
from pydantic import TypeAdapter

from supervisor.control import assemble as assembling
from supervisor.control.publisher import LastSnapshot
from supervisor.devices.protocols import OneWireAnswer
from supervisor.readings import Quality
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.faults import Fault
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.world import World
from supervisor.snapshot import Circuit

LIMITS = {
    "heat_sink_above_celsius": 80.0, "cells_above_celsius": 45.0, "cells_below_celsius": 5.0,
}  # fmt: skip


@pytest.fixture
def bench(hut_settings: SupervisorSettings, tmp_path: Path) -> LoopBench:
    return LoopBench(with_probes(hut_settings, {"sink": SINK, "cell": CELL}, **LIMITS), tmp_path)


def strike(bench: LoopBench, kind: str, **fields: object) -> None:
    bench.world.fault(TypeAdapter(Fault).validate_python({"kind": kind, **fields}))


def closed(bench: LoopBench) -> LoopBench:
    bench.run(until_s=12.0)
    bench.mailbox.put("close")
    bench.run(until_s=14.0)
    assert bench.loop.guard.circuit is Circuit.CLOSED
    return bench


def last_reply(bench: LoopBench) -> str:
    return bench.mailbox.replies[-1].message


def test_healthy_probes_do_not_disturb(bench: LoopBench) -> None:
    closed(bench).run(until_s=25.0)
    assert bench.loop.guard.circuit is Circuit.CLOSED
    assert bench.loop._parts.bus.counters.errors == 0


def test_no_closing_and_no_reset_while_a_part_is_too_hot(bench: LoopBench) -> None:
    strike(closed(bench), "heat", place="heat_sink", kelvin=1000)
    bench.run(until_s=42.0)
    lockout = bench.loop.keeper.lockout
    assert lockout is not None
    assert lockout.tripped_by == "temperature"
    assert lockout.reason.startswith("heat sink (probe sink) ")
    assert lockout.remedy.startswith("let the heat sink cool down")
    assert (lockout.limit, lockout.unit) == (80.0, "°C")
    bench.mailbox.put("reset", "looked at the fan")
    bench.run(until_s=43.0)
    assert "the cause still stands: heat sink (probe sink)" in last_reply(bench)
    bench.world.clear("heat")
    bench.world.heat._rise_k = dict.fromkeys(bench.world.heat._rise_k, 5.0)  # hours later
    bench.run(until_s=47.0)
    bench.mailbox.put("reset", "looked at the fan")
    bench.run(until_s=48.0)
    assert last_reply(bench) == "the lockout is reset"


def test_a_lost_probe_opens_and_says_so(bench: LoopBench) -> None:
    strike(closed(bench), "probe_lost", probe="sink")
    bench.run(until_s=28.0)
    assert bench.loop.guard.circuit is Circuit.CLOSED  # a good answer counts for 15 s
    bench.run(until_s=31.0)
    lockout = bench.loop.keeper.lockout
    assert lockout is not None
    assert lockout.tripped_by == "temperature"
    assert "heat sink (probe sink): no answer, no temperature for 15." in lockout.reason
    assert "/sys/bus/w1/devices" in lockout.remedy


def test_a_dead_probe_costs_the_converters_nothing_until_it_trips(bench: LoopBench) -> None:
    strike(closed(bench), "probe_lost", probe="sink")
    bench.run(until_s=25.0)
    counters = bench.loop._parts.bus.counters
    assert counters.reopenings == 0
    assert counters.retries == 0
    assert 10 <= counters.errors <= 12
    assert bench.loop._pacer.misses == 0


def test_the_snapshot_shows_them(bench: LoopBench) -> None:
    bench.run(until_s=3.0)
    readings = bench.loop._acquire(bench.loop._pacer.wait())
    assert {name: probe.celsius for name, probe in readings.probes.items()} == {
        "sink": 18.0, "cell": 18.0,
    }  # fmt: skip


# -- the real machine's one-wire bus is made only where it is needed


class Recorder:
    made: Sequence[str] | None = None

    def __init__(self, serials: Sequence[str], clock: object) -> None:
        assert clock is not None
        Recorder.made = list(serials)

    def newest(self, serial: str) -> OneWireAnswer | None:
        assert serial == SERIAL

    def close(self) -> None:
        Recorder.made = None


@pytest.mark.parametrize(
    ("probes", "serials"), [({}, None), ({"sink": SINK}, None), ({"cell": CELL}, [SERIAL])]
)
def test_the_kernels_bus_is_asked_for_only_by_who_needs_it(
    hut_settings: SupervisorSettings,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    probes: dict[str, dict[str, Any]],
    serials: list[str] | None,
) -> None:
    monkeypatch.setattr(assembling, "KernelOneWire", Recorder)
    Recorder.made = None
    clock = SimulatedClock()
    settings = with_probes(hut_settings, probes)
    world = World(settings, PlantSettings(), clock)
    loop = assembling.assemble(
        settings, clock=clock, open_bus=world.open_bus, pin_factory=world.pin_factory,
        state_dir=tmp_path, inboxes=[], publisher=LastSnapshot(), simulated=False,
    )  # fmt: skip
    assert Recorder.made == serials
    loop.cycle()
    shown = loop._parts.thermometers.look()
    assert all(reading.quality is Quality.NO_ANSWER for reading in shown.values())
    loop.close()
    assert Recorder.made is None
