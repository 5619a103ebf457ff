"""Invariants b and c: freezing cells take no current, the supply stays within what it bears."""

from math import exp

from supervisor.bench.campaign.sustained import Sustained
from supervisor.bench.campaign.violation import Violation
from supervisor.readings import Place
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.plant import Plant
from supervisor.simulator.world import World
from supervisor.sizing.budget import RuleBudget

FREEZING_C = 0.0


class FreezingCells:
    """Only with a probe on the cells and a limit for it."""

    def __init__(
        self, settings: SupervisorSettings, world: World, budgets: tuple[RuleBudget, ...]
    ) -> None:
        self._world = world
        found = [b for b in budgets if b.limit_key == "protection.temperature.cells_below_celsius"]
        self._is_watched = bool(found)
        lost_s = settings.protection.temperature.lost_after_seconds if found else 0.0  # type: ignore[union-attr]
        self._below_c = min([FREEZING_C, *(b.effective_limit or FREEZING_C for b in found)])
        self._sustained = Sustained(lost_s + sum(b.response_s for b in found))

    def look(self, flows: bool, from_s: float, until_s: float) -> Violation | None:
        if not self._is_watched:
            return None
        cells_c = self._world.heat.celsius(Place.CELLS, until_s)
        lasted_s = self._sustained.lasts(flows and cells_c < self._below_c, from_s, until_s)
        if lasted_s is None:
            return None
        detail = f"current for {lasted_s:.1f} s into cells at {cells_c:.1f} degrees"
        return Violation("b", "temperature", until_s, detail)


class HotPart:
    """A replica of one part of the supply, fed with the true current."""

    def __init__(self, settings: SupervisorSettings, budget: RuleBudget) -> None:
        rule = settings.protection.supply_thermal
        assert rule is not None
        assert budget.effective_limit is not None
        self._name = budget.title
        self._form_factor = rule.form_factor
        key = budget.limit_key.split(".")[-2]
        part = getattr(rule, key)
        self._bears_a, self._tau_s = part.continuous_amperes, part.time_constant_seconds
        self._hot = (budget.effective_limit / budget.limit) ** 2
        self._theta = 0.0
        self._sustained = Sustained(sum(step.seconds for step in budget.response[1:]))

    def look(self, plant: Plant, from_s: float, until_s: float) -> Violation | None:
        """Between the two the current went in a straight line.

        Forwards: backwards only a rectifier conducts that has failed, and that is invariant e's.
        """
        last_a = max(plant.current_a, 0.0)
        with plant.as_solved():
            first_a = max(plant.current_a, 0.0)
        mean_square = (first_a**2 + first_a * last_a + last_a**2) / 3
        final = mean_square * (self._form_factor / self._bears_a) ** 2
        self._theta = final + (self._theta - final) * exp((from_s - until_s) / self._tau_s)
        holds = last_a > 0 and self._theta > self._hot
        lasted_s = self._sustained.lasts(holds, until_s, until_s)  # it got hot on the way
        if lasted_s is None:
            return None
        heat = f"{self._name} at {100 * self._theta:.0f} % of its heat"
        return Violation("c", "current", until_s, f"{heat}, current for {lasted_s:.2f} s")
