"""Invariant e: a true value beyond a limit is gone, or the current, within the printed response."""

from collections.abc import Callable, Iterator
from itertools import product
from math import pi

from supervisor.bench.campaign.reach import releases_late
from supervisor.bench.campaign.sustained import Sustained
from supervisor.bench.campaign.violation import About, Violation
from supervisor.protection.charge_stage import UP_AFTER_S
from supervisor.readings import Channel
from supervisor.settings.hardware import CellChannel
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.plant import Plant
from supervisor.simulator.world import World
from supervisor.sizing.budget import RuleBudget

FILTER_LAGS = 5  # time constants of an input filter; its lag is not in the printed response

Excess = Callable[[], float]  # how far it is beyond its limit; within: not above 0


class Promise:
    """While current flows, ``excess`` may be above 0 for so long; ``later_s``: and for so much
    longer, as things are now."""

    def __init__(
        self,
        name: str,
        about: About,
        excess: Excess,
        allowed_s: float,
        later_s: Callable[[], float],
    ) -> None:
        self.name, self.about, self.excess, self.later_s = name, about, excess, later_s
        self._sustained = Sustained(allowed_s)

    def look(self, plant: Plant, from_s: float, until_s: float) -> Violation | None:
        """Between the two, all that the plant does went in straight lines."""
        if not plant.current_a:
            self._sustained.lasts(False, from_s, until_s)
            return None
        with plant.as_solved():
            first = self.excess()
        last = self.excess()
        crossed_s = until_s
        if (first > 0) is not (last > 0):
            crossed_s = from_s + (until_s - from_s) * first / (first - last)
        for beyond, begins_s, ends_s in ((first, from_s, crossed_s), (last, crossed_s, until_s)):
            lasted_s = self._sustained.lasts(beyond > 0, begins_s, ends_s - self.later_s())
            if lasted_s is not None:
                allowed_s = self._sustained.allowed_s
                took = f"current still flows after {lasted_s:.3f} s, {allowed_s:.3f} s allowed"
                return Violation("e", self.about, ends_s, f"{self.name}: {took}")
        return None


def promises(
    settings: SupervisorSettings, world: World, budgets: dict[str, RuleBudget]
) -> Iterator[Promise]:
    plant = world.plant
    lag_s = FILTER_LAGS / (2 * pi * world.plant_settings.converters.filter_hertz)
    groups = (0,) if settings.channels.far_cell is None else (0, -1)

    def later_s() -> float:
        """A contact that stays is found out first; then the mains side opens, if it is fitted."""
        stays = plant.contactor.welded or releases_late(settings, world)
        return budgets["failed_to_open"].response_s if stays else 0.0

    def promise(rule: str, about: About, excess: Callable[[float], float]) -> Promise:
        budget = budgets[rule]
        limit = budget.effective_limit
        assert limit is not None
        name = f"true {about} beyond the {rule} limit, {limit:.4f} {budget.unit}"
        return Promise(name, about, lambda: excess(limit), budget.response_s + lag_s, later_s)

    for rule in ("overvoltage", "overvoltage_high_set"):
        yield promise(rule, "voltage", lambda v: max(plant.cell_v(g) for g in groups) - v)
    yield promise("undervoltage", "voltage", lambda v: v - min(plant.cell_v(g) for g in groups))
    yield promise("overcurrent", "current", lambda a: plant.current_a - a)
    yield promise("reverse_current", "current", lambda a: -plant.current_a - a)
    yield from _stage_promises(settings, world, budgets, lag_s, later_s)
    for channel in world.leads:
        wiring = getattr(settings.channels, channel.value)
        if isinstance(wiring, CellChannel):
            yield Promise(
                f"the lead of {channel.value} shows nothing that a cell can be",
                "lead",
                lambda w=wiring, k=channel: float(_is_dead(world, w, k)),  # type: ignore[misc]
                budgets["sensing"].response_s + lag_s,
                later_s,
            )


def _stage_promises(
    settings: SupervisorSettings,
    world: World,
    budgets: dict[str, RuleBudget],
    lag_s: float,
    later_s: Callable[[], float],
) -> Iterator[Promise]:
    """While the highest cell is surely in the stage: its boundary, and the measuring error."""
    charge, plant = settings.charge, world.plant
    if charge is None:
        return
    groups = (0,) if settings.channels.far_cell is None else (0, -1)
    band_v = budgets["overvoltage"].guard_band
    assert band_v is not None

    def highest_v() -> float:
        return max(plant.cell_v(group) for group in groups)

    values: dict[str, Callable[[], float]] = {"A": lambda: plant.current_a, "V": highest_v}
    stages = (("taper", charge.taper_above_volts), ("hold", charge.hold_from_v))
    for (stage, from_v), (unit, value) in product(stages, values.items()):
        budget = budgets.get(f"stage_limits, {stage}, {unit}")
        if budget is None or budget.effective_limit is None:
            continue

        def excess(
            value: Callable[[], float] = value,
            limit: float = budget.effective_limit,
            surely_v: float = from_v + band_v,
        ) -> float:
            return min(value() - limit, highest_v() - surely_v)

        name = f"true value beyond the limit of the {stage}, {budget.effective_limit:.4f} {unit}"
        yield Promise(name, "stage", excess, UP_AFTER_S + budget.response_s + lag_s, later_s)


def _is_dead(world: World, wiring: CellChannel, channel: Channel) -> bool:
    """Held at, or turned into, a voltage no live cell has."""
    lead = world.leads[channel]
    if lead.held_v is None:
        return lead.reversed
    low_v, high_v = wiring.plausible_volts
    return not low_v <= lead.held_v * wiring.gain + wiring.offset_volts <= high_v
