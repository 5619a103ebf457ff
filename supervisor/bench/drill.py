"""Runs a scenario as fast as the computer can and judges what came of it."""

import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from supervisor.bench.rig import Rig
from supervisor.bench.scenario import EXTERNAL, Scenario, load_scenario
from supervisor.bench.witness import Witness
from supervisor.control.publisher import LastSnapshot
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.clock import SimulatedClock
from supervisor.snapshot import Circuit

ONE_CYCLE_S = 0.1  # the witness looks once a cycle, 100 ms at the slowest


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one scenario. Times are simulated seconds from its start; of several trips the
    last is told and judged."""

    scenario: str
    passed: bool
    outcome: str
    tripped_by: str | None
    trips: int
    trip_at_s: float | None
    finished_at_s: float | None
    response_s: float | None
    peak_cell_v: float
    never_above_v: float
    failures: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        rounded = {
            name: round(value, 6) if isinstance(value, float) else value
            for name, value in asdict(self).items()
        }
        return rounded | {"failures": list(self.failures)}


def drill(path: Path) -> Result:
    """Run one scenario file. Raises SettingsFaults when it, or its settings, are at fault."""
    scenario, settings = load_scenario(path)
    return run(scenario, settings)


def not_run(path: Path, faults: SettingsFaults) -> Result:
    """The result of a file at fault, for those who read results only."""
    return Result(
        scenario=str(path),
        passed=False,
        outcome="at fault",
        tripped_by=None,
        trips=0,
        trip_at_s=None,
        finished_at_s=None,
        response_s=None,
        peak_cell_v=0.0,
        never_above_v=0.0,
        failures=tuple(str(fault) for fault in faults.faults),
    )


def run(scenario: Scenario, settings: SupervisorSettings) -> Result:
    """Run one scenario to its end, and judge it."""
    return _judge(*play(scenario, settings))


def play(scenario: Scenario, settings: SupervisorSettings) -> tuple[Rig, Witness, str]:
    """Run one scenario to its end, then end the loop in order: rig, witness and outcome."""
    with tempfile.TemporaryDirectory(prefix="holdwatch-drill-") as folder:
        publisher = LastSnapshot()
        rig = Rig(
            scenario,
            settings,
            clock=SimulatedClock(),
            state_dir=Path(folder),
            publisher=publisher,
        )
        witness = Witness(rig, publisher)
        try:
            while rig.elapsed_s < scenario.seconds and not witness.nothing_to_come:
                rig.cycle()
                witness.look()
                if rig.invariants:
                    rig.invariants.look()
            outcome = _outcome(rig, witness)
            rig.loop.leave()
            rig.loop.run()
        finally:
            rig.loop.close()
    return rig, witness, outcome


def _outcome(rig: Rig, witness: Witness) -> str:
    match rig.loop.guard.circuit:
        case Circuit.LOCKED_OUT:
            return "tripped"
        case Circuit.CLOSED | Circuit.PAUSED:
            return "closed"
        case Circuit.FINISHED:
            return "finished"
    refused = any(not reply.done for reply in rig.operator.replies)
    return "refused" if refused and not witness.was_closed else "open"


def _judge(rig: Rig, witness: Witness, outcome: str) -> Result:
    expected = rig.scenario.expect
    lockout = witness.lockout
    tripped_by = lockout.tripped_by if lockout else None
    response_s = witness.response_s(tripped_by)
    failures = [*rig.problems, *witness.failures]
    if outcome != expected.outcome:
        failures.append(f"ended {outcome}, expected {expected.outcome}{_reason(rig)}")
        failures += [
            f"refused: {reply.message}" for reply in rig.operator.replies if not reply.done
        ]
    if tripped_by != expected.tripped_by:
        failures.append(f"tripped by {tripped_by}, expected {expected.tripped_by}")
    if lockout and lockout.failed_to_open != expected.failed_to_open:
        failures.append(f"failed to open: {lockout.failed_to_open}")
    if (
        lockout
        and not expected.failed_to_open
        and witness.was_closed
        and not (lockout.opened_in_s or (rig.was_killed and tripped_by == EXTERNAL))
    ):
        failures.append("the daemon did not see it open")
    if expected.within_seconds is not None:
        failures += _too_slow(response_s, expected.within_seconds, witness)
    never_above_v = rig.settings.bank.never_above_volts
    below_v = expected.peak_below_volts or never_above_v
    if witness.peak_cell_v >= below_v:
        failures.append(f"a cell reached {witness.peak_cell_v:.4f} V, to stay below {below_v} V")
    return Result(
        scenario=rig.scenario.name,
        passed=not failures,
        outcome=outcome,
        tripped_by=tripped_by,
        trips=len(witness.trips),
        trip_at_s=witness.trip_at_s,
        finished_at_s=witness.finished_at_s,
        response_s=response_s,
        peak_cell_v=witness.peak_cell_v,
        never_above_v=never_above_v,
        failures=tuple(failures),
    )


def _reason(rig: Rig) -> str:
    lockout = rig.loop.keeper.lockout
    return f" ({lockout.reason})" if lockout else ""


def _too_slow(response_s: float | None, within_s: float, witness: Witness) -> list[str]:
    if response_s is None:
        flows = "still flows" if witness.current_flows else "has stopped, its cause was not seen"
        return [f"no response: the current {flows}"]
    if response_s < -ONE_CYCLE_S:
        return [f"opened {-response_s:.3f} s before its cause"]
    if response_s > within_s:
        return [f"took {response_s:.3f} s, expected {within_s} s at most"]
    return []
