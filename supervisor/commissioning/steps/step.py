"""What a step is, what it has at hand, and what comes of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from supervisor.commissioning.leaves import Leaves
from supervisor.commissioning.person import Person
from supervisor.control.build_record import Finding, Line
from supervisor.settings.model import SupervisorSettings


@dataclass(frozen=True, slots=True)
class Bench:
    """Settings, leaves and person; ``lines`` are what counts of the record, oldest first."""

    settings: SupervisorSettings
    leaves: Leaves
    person: Person
    lines: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class Outcome:
    """``changes``: settings to be written, by dotted path; the step is then done once more."""

    findings: tuple[Finding, ...]
    changes: Mapping[str, float] = field(default_factory=dict)
    as_found: Mapping[str, float] = field(default_factory=dict)
    as_left: Mapping[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def passed(self) -> bool:
        return bool(self.findings) and all(finding.passed for finding in self.findings)


class Step(Protocol):
    """``key`` is that of ``control.build_steps``, which has title and need of it."""

    @property
    def key(self) -> str: ...

    @property
    def cautions(self) -> tuple[str, ...]: ...

    @property
    def measures(self) -> str:
        """What is measured, and what is good."""
        ...

    def run(self, bench: Bench) -> Outcome:
        """Raises CannotTell, Left, Unanswered."""
        ...
