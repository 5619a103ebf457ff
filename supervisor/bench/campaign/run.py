"""One run: drawn or given, played through the real loop, judged by the invariants."""

import logging
from dataclasses import asdict, dataclass
from typing import Any

from supervisor.bench.campaign.draw import draw, prepare
from supervisor.bench.campaign.violation import Violation
from supervisor.bench.drill import play
from supervisor.bench.rig import Rig
from supervisor.bench.scenario import Scenario
from supervisor.bench.witness import Witness

KILL = "kill"  # counted as a fault, and an act of the timeline of its own


@dataclass(frozen=True, slots=True)
class Run:
    """What came of one run. ``response_s``: from ``newest``, the newest fault before the last trip,
    to no current. ``late``: of the faults those that struck when it was locked out already.
    ``ended``: the outcome as a drill has it; ``broken``: the keys of the broken invariants."""

    seed: int
    run: int
    outcome: str
    ended: str
    tripped_by: str | None
    faults: tuple[str, ...]
    newest: str | None
    late: tuple[str, ...]
    operator: str
    response_s: float | None
    peak_cell_v: float
    simulated_s: float
    refused: int
    violations: tuple[str, ...]
    broken: tuple[str, ...]
    beyond_reach: tuple[str, ...]

    @property
    def verdict(self) -> str:
        """``violation``, ``beyond reach``, or how it ended."""
        if self.violations:
            return "violation"
        return "beyond reach" if self.beyond_reach else self.outcome

    def as_dict(self) -> dict[str, Any]:
        return asdict(self) | {"verdict": self.verdict}


def run_one(seed: int, run: int) -> Run:
    """Never raises: a run that does is a violation."""
    try:
        drawn = draw(seed, run)
    except Exception as error:  # a fault of the campaign itself, and to be seen as one
        return _failed(seed, run, {}, 0, error)
    return run_document(drawn.document, seed=seed, run=run, refused=drawn.refused)


def run_document(document: dict[str, Any], *, seed: int = 0, run: int = 0, refused: int = 0) -> Run:
    """The same of a scenario document. Never raises either."""
    logger = logging.getLogger("supervisor")
    before = logger.level
    logger.setLevel(logging.CRITICAL + 1)
    try:
        scenario, settings = prepare(document)
        return _judged(seed, run, refused, *play(scenario, settings))
    except Exception as error:  # the daemon must not raise, whatever happens to it
        return _failed(seed, run, document, refused, error)
    finally:
        logger.setLevel(before)


def _judged(seed: int, run: int, refused: int, rig: Rig, witness: Witness, outcome: str) -> Run:
    assert rig.invariants is not None
    found = rig.invariants.violations
    lockout = witness.lockout
    struck = _struck(rig.scenario)
    last_s = witness.trips[-1].at_s if witness.trips else rig.elapsed_s
    in_time = [kind for at_s, kind in struck if at_s <= last_s]
    return Run(
        seed=seed,
        run=run,
        outcome=_outcome(witness, outcome),
        ended=outcome,
        tripped_by=lockout.tripped_by if lockout else None,
        faults=tuple(kind for _, kind in struck),
        newest=in_time[-1] if in_time else None,
        late=tuple(kind for _, kind in struck[len(in_time) :]),
        operator=rig.scenario.operator.kind if rig.scenario.operator else "",
        response_s=_response_s(witness),
        peak_cell_v=round(witness.peak_cell_v, 6),
        simulated_s=round(rig.elapsed_s, 3),
        refused=refused,
        violations=tuple(violation.text for violation in found),
        broken=tuple(sorted({violation.invariant for violation in found})),
        beyond_reach=tuple(sorted({fact for fact, _ in rig.invariants.beyond_reach})),
    )


def _outcome(witness: Witness, ended: str) -> str:
    """A trip counts, whatever a hasty operator made of it afterwards."""
    if witness.lockout:
        return "tripped"
    return ended if witness.was_closed else "never closed"


def _response_s(witness: Witness) -> float | None:
    """None without a fault before the trip, or when no current flowed after it."""
    response_s = witness.response_s(None)
    return None if response_s is None or response_s < 0 else round(response_s, 4)


def _struck(scenario: Scenario) -> list[tuple[float, str]]:
    """When, and what kind, in order."""
    acts = sorted(scenario.timeline, key=lambda act: act.at_seconds)
    return [
        (act.at_seconds, act.fault.kind if act.fault else KILL)
        for act in acts
        if act.fault or act.kill
    ]


def _failed(seed: int, run: int, document: dict[str, Any], refused: int, error: Exception) -> Run:
    text = f"{type(error).__name__}: {error}"
    timeline = [act for act in document.get("timeline") or () if isinstance(act, dict)]
    faults = [act.get("fault") or {} for act in timeline if "fault" in act]
    kinds = tuple(str(fault.get("kind")) for fault in faults if isinstance(fault, dict))
    return Run(
        seed=seed,
        run=run,
        outcome="error",
        ended="open",
        tripped_by=None,
        faults=kinds,
        newest=None,
        late=(),
        operator=str((document.get("operator") or {}).get("kind", "")),
        response_s=None,
        peak_cell_v=0.0,
        simulated_s=0.0,
        refused=refused,
        violations=(Violation("x", "run", 0.0, text).text,),
        broken=("x",),
        beyond_reach=(),
    )
