"""What a campaign found: counts by kind of fault and outcome, violations, what is beyond reach."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from statistics import median
from typing import Any

from supervisor.bench.campaign.run import Run

NO_FAULT = "none"
TOO_LATE = "struck too late"  # it was locked out already: shows nothing of this fault


@dataclass(frozen=True, slots=True)
class Covered:
    """Runs with this kind of fault that ended so; response in seconds, of those in which it was the
    newest fault before the trip."""

    fault: str
    outcome: str
    runs: int
    tripped_by: dict[str, int]
    response_min_s: float | None
    response_median_s: float | None
    response_max_s: float | None


@dataclass
class Report:
    """Add runs in any order: the same runs give the same report."""

    seed: int
    asked: int
    runs: list[Run] = field(default_factory=list)
    files: dict[int, str] = field(default_factory=dict)
    stopped: str | None = None

    def add(self, run: Run) -> None:
        self.runs.append(run)

    @property
    def violations(self) -> list[Run]:
        return [run for run in self._in_order() if run.violations]

    def coverage(self) -> list[Covered]:
        groups: dict[tuple[str, str], list[Run]] = defaultdict(list)
        for run in self._in_order():
            for kind in sorted(set(run.faults)) or [NO_FAULT]:
                came_late = run.faults.count(kind) == run.late.count(kind) > 0
                groups[kind, TOO_LATE if came_late else run.verdict].append(run)
        return [_covered(*key, groups[key]) for key in sorted(groups)]

    def beyond_reach(self) -> dict[str, list[int]]:
        """Runs by the fact that put them beyond reach."""
        found: dict[str, list[int]] = defaultdict(list)
        for run in self._in_order():
            for fact in run.beyond_reach:
                found[fact].append(run.run)
        return dict(sorted(found.items()))

    def outcomes(self) -> dict[str, int]:
        return dict(sorted(Counter(run.verdict for run in self.runs).items()))

    def as_dict(self) -> dict[str, Any]:
        return {
            "seed": self.seed,
            "asked": self.asked,
            "done": len(self.runs),
            "stopped": self.stopped,
            "simulated_s": round(sum(run.simulated_s for run in self._in_order()), 3),
            "settings_refused": sum(run.refused for run in self.runs),
            "outcomes": self.outcomes(),
            "coverage": [_as_dict(covered) for covered in self.coverage()],
            "violations": [self._violation(run) for run in self.violations],
            "beyond_reach": self.beyond_reach(),
        }

    def _violation(self, run: Run) -> dict[str, Any]:
        return {
            "seed": run.seed,
            "run": run.run,
            "invariants": list(run.broken),
            "what": list(run.violations),
            "faults": list(run.faults),
            "operator": run.operator,
            "file": self.files.get(run.run),
        }

    def _in_order(self) -> Iterator[Run]:
        return iter(sorted(self.runs, key=lambda run: run.run))


def _covered(fault: str, outcome: str, runs: list[Run]) -> Covered:
    times = [run.response_s for run in runs if run.newest == fault and run.response_s is not None]
    spread = (min(times), round(median(times), 4), max(times)) if times else (None, None, None)
    rules = Counter(run.tripped_by for run in runs if run.tripped_by)
    return Covered(fault, outcome, len(runs), dict(sorted(rules.items())), *spread)


def _as_dict(covered: Covered) -> dict[str, Any]:
    return {name: getattr(covered, name) for name in Covered.__slots__}
