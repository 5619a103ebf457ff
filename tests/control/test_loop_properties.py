"""The whole loop against random faults, stalls and requests: never closed without permission.

The invariants look at the coil's pin and at what was measured; they know nothing of the rules.
"""

import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from loop_bench import LoopBench, heal, with_level_drive
from pydantic import TypeAdapter

from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.faults import Fault

FAULT: TypeAdapter[Any] = TypeAdapter(Fault)
ROUNDING_S = 1e-6
LASTING: tuple[dict[str, Any], ...] = (
    {"kind": "bus_error", "errno": 121},
    {"kind": "bus_error", "errno": 5, "transfers": 3},
    {"kind": "bus_error", "errno": 110, "until_reopened": True},
    {"kind": "bus_stuck_low"},
    {"kind": "bus_hang", "seconds": 0.7},
    {"kind": "slow_bus", "factor": 6},
    {"kind": "shifted_words", "every": 3},
    {"kind": "chip_absent", "converter": "cells"},
    {"kind": "chip_frozen", "converter": "current"},
    {"kind": "chip_slow", "converter": "cells", "factor": 2.5},
    {"kind": "isolated_zeros", "every": 4},
    {"kind": "isolated_full_scale", "every": 3},
    {"kind": "lead_open", "channel": "front_cell"},
    {"kind": "lead_offset", "channel": "far_cell", "volts": 0.4},
    {"kind": "shunt_reversed"},
    {"kind": "contactor_welded"},
    {"kind": "auxiliary_stuck", "shows": "closed"},
    {"kind": "stop_button"},
)
AT_ONCE: tuple[dict[str, Any], ...] = (
    {"kind": "chip_reset"},
    {"kind": "stall", "seconds": 0.1},
    {"kind": "stall", "seconds": 0.6},
    {"kind": "stall", "seconds": 3},
    {"kind": "wall_step", "seconds": -1e8},
)
ACTS = (
    [("fault", fault) for fault in (*LASTING, *AT_ONCE)]
    + [("heal", None)] * 4
    + [("request", act) for act in ("close", "close", "close", "open", "reset", "status")]
    + [("knob", position) for position in (0.0, 0.8, 1.0)]
)
story = st.lists(st.tuples(st.floats(0.01, 1.5), st.sampled_from(ACTS)), max_size=14)


@pytest.fixture(scope="module")
def level_settings(hut_settings: SupervisorSettings) -> SupervisorSettings:
    return with_level_drive(hut_settings)


def perform(bench: LoopBench, act: tuple[str, Any]) -> None:
    kind, what = act
    match kind:
        case "fault":
            bench.world.fault(FAULT.validate_python(what))
        case "heal":
            heal(bench)
        case "request":
            bench.mailbox.put(what, "looked at, and mended")
        case "knob":
            bench.world.knob(what, 0.2)


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(story=story)
def test_never_closed_without_permission(
    level_settings: SupervisorSettings, story: list[tuple[float, tuple[str, Any]]]
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        bench = LoopBench(level_settings, Path(folder))
        bench.watch_readings()
        bench.run(1.0)
        bench.mailbox.put("close")
        bench.run(2.0)
        for pause_s, act in story:
            perform(bench, act)
            bench.run(bench.clock.now_s() + pause_s)
        bench.loop.leave()
        heal(bench)
        bench.loop.run()
        bench.loop.close()
        check_leases(bench, level_settings.lease_s)
        check_lockouts(bench)
        assert not bench.world.pin_factory.pin(level_settings.contactor.pin).state


def check_leases(bench: LoopBench, lease_s: float) -> None:
    """While the coil is on, a good reading is never further back than the lease."""
    for on_s, off_s in bench.spells_on():
        renewals = [at_s for at_s in bench.entitled_at_s if at_s <= off_s]
        inside = [at_s for at_s in renewals if at_s > on_s]
        before = [at_s for at_s in renewals if at_s <= on_s]
        assert before, "closed without a good reading"
        assert on_s - before[-1] < lease_s
        for earlier, later in zip([on_s, *inside], [*inside, off_s], strict=True):
            assert later - earlier <= lease_s + ROUNDING_S, (on_s, off_s, earlier, later)


def check_lockouts(bench: LoopBench) -> None:
    """From a trip on, the coil is off until a reset."""
    for locked_s in bench.locked_at_s:
        reset_s = min((at_s for at_s in bench.resets_at_s if at_s > locked_s), default=1e9)
        for on_s, off_s in bench.spells_on():
            assert off_s <= locked_s or on_s >= reset_s
