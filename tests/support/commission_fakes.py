"""Steps that do as a test wants, and somebody who does them: a walk without a build to try."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from supervisor.bench.commissioning.build import SimulatedBuild
from supervisor.cli.commission_bench import overridden
from supervisor.commissioning.deeds import Deed
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.commissioning.walk import Walk
from supervisor.control.build_record import BuildRecord, Finding
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.parts.plant import PlantSettings

GOOD = Outcome((Finding("all is well", True),))
BAD = Outcome((Finding("all is well", False, defect="it is not"),))
Runs = Callable[[Bench], Outcome]


@dataclass
class Step:
    """Stands in for one of ``STEPS``."""

    key: str
    runs: Runs = lambda _bench: GOOD
    cautions: tuple[str, ...] = ()
    measures: str = ""

    def run(self, bench: Bench) -> Outcome:
        return self.runs(bench)


@dataclass
class Somebody:
    """Does as asked, and remembers it."""

    name: str = "Ida"
    did: list[Deed] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def does(self, deed: Deed) -> None:
        self.did.append(deed)

    def tells(self, text: str) -> None:
        self.told.append(text)


def walk(settings: SupervisorSettings, folder: Path, **other: Any) -> Walk:
    def adopt(changes: Mapping[str, float]) -> SupervisorSettings:
        return overridden(one.settings, changes)

    build = SimulatedBuild(settings, PlantSettings(), folder)
    person = other.pop("person", Somebody())
    record = BuildRecord(folder)
    one = Walk(settings, build, person, record, other.pop("adopt", adopt), **other)
    return one
