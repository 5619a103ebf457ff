"""What the operator is told, from the fault on the wire to the lockout or the refusal."""

from pathlib import Path

import pytest

from supervisor.bench.rig import Rig
from supervisor.bench.scenario import load_scenario
from supervisor.control.publisher import LastSnapshot
from supervisor.simulator.clock import SimulatedClock
from supervisor.snapshot import Circuit

SCENARIOS = Path(__file__).parents[2] / "config" / "scenarios"


def played(name: str, folder: Path) -> Rig:
    """Until it is locked out, or an answer is there."""
    scenario, settings = load_scenario(SCENARIOS / f"{name}.yaml")
    rig = Rig(
        scenario,
        settings,
        clock=SimulatedClock(),
        state_dir=folder,
        publisher=LastSnapshot(),
    )
    while rig.elapsed_s < scenario.seconds:
        rig.loop.cycle()
        refused = any(not reply.done for reply in rig.operator.replies)
        if refused or rig.loop.guard.circuit is Circuit.LOCKED_OUT:
            break
    rig.loop.close()
    return rig


@pytest.mark.parametrize(
    ("name", "reason", "remedy"),
    [
        ("lead-open", "has an open lead for 0.2", "where its wires touch"),
        ("lead-shorted", "has a shorted lead for 0.2", "take the sense lead off the cell"),
        ("chip-reset", "was lost to a reset for 0.2", "the converter's supply and ground"),
        ("voltage-does-not-answer", "front cell does not answer the current", "another battery"),
        ("shunt-swapped", "most likely the shunt's sense wires are swapped", "swap the shunt's"),
        ("reverse-current", "so the rectifier has failed", "disconnect the supply"),
    ],
)
def test_locked_out_with_cause_and_remedy(
    tmp_path: Path, name: str, reason: str, remedy: str
) -> None:
    lockout = played(name, tmp_path).loop.keeper.lockout
    assert lockout is not None
    assert reason in lockout.reason
    assert remedy in lockout.remedy


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("lead-reversed", "far cell has a reversed lead"),
        ("zero-offset", "an offset at zero current: with the contactor open 2.0 A are read"),
        ("chip-wrong", "front cell is read by the wrong chip"),
        ("chip-coarse", "front cell is too coarse"),
        ("close-refused", "front cell has an open lead"),
    ],
)
def test_refused_with_the_cause(tmp_path: Path, name: str, reason: str) -> None:
    rig = played(name, tmp_path)
    assert rig.loop.keeper.lockout is None, "never a trip while open"
    (reply,) = rig.operator.replies
    assert not reply.done
    assert reason in reply.message
