"""What is promised by the settings in force: those of the file, or of the profile chosen since."""

from collections.abc import Iterator
from functools import cached_property

from supervisor.bench.campaign.limits import Promise, promises
from supervisor.bench.campaign.violation import Violation
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import with_profile
from supervisor.simulator.world import World
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.response import budgets


class Promised:
    """By one set of settings."""

    def __init__(self, settings: SupervisorSettings, world: World) -> None:
        self.settings, self._world = settings, world

    @cached_property
    def printed(self) -> tuple[RuleBudget, ...]:
        return budgets(self.settings)

    @cached_property
    def named(self) -> dict[str, RuleBudget]:
        return {budget.title: budget for budget in self.printed}

    @cached_property
    def _promises(self) -> list[Promise]:
        return list(promises(self.settings, self._world, self.named))

    def look(self, from_s: float, until_s: float) -> Iterator[Violation | None]:
        for promise in self._promises:
            yield promise.look(self._world.plant, from_s, until_s)

    @property
    def overvoltage_v(self) -> float:
        return self.settings.protection.overvoltage.trip_volts


class InForce:
    """Which of them counts now. A profile is chosen with the circuit open: no promise runs then."""

    def __init__(self, settings: SupervisorSettings, world: World) -> None:
        self._file, self._world = settings, world
        self.now = Promised(settings, world)
        self._known = {settings.profile: self.now}

    def adopt(self, profile: str) -> None:
        if profile not in self._known:
            self._known[profile] = Promised(with_profile(self._file, profile), self._world)
        self.now = self._known[profile]
