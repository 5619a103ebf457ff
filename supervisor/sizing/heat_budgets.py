"""Budgets of the rules on heat: reckoned from the current, and measured by probes."""

from collections.abc import Iterator

from supervisor.protection.heat import ThermalReplica
from supervisor.protection.rules.temperature import LIMITS, OF, UNIT
from supervisor.readings import Place
from supervisor.settings.cross_checks.temperatures import ONE_WIRE_READ_S
from supervisor.settings.hardware import Probe
from supervisor.settings.rules import HeatedPart
from supervisor.sizing.basis import Basis
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.steps import Part, Stage

TIMES = 1.5  # the limit: a heavy overload, and still below most definite-time limits
LM75_EVERY_S = 1.0

# Largest error in kelvin, by chip: within a range of degrees Celsius, and beyond it. Data sheets
# of both classes, from memory.
TOLERANCES = {"ds18b20": (-10.0, 85.0, 0.5, 2.0), "lm75": (-25.0, 100.0, 2.0, 3.0)}


def heat_budgets(basis: Basis) -> Iterator[RuleBudget]:
    yield from _supply_thermal(basis)
    yield from _temperature(basis)


def _supply_thermal(basis: Basis) -> Iterator[RuleBudget]:
    rule = basis.rules.supply_thermal
    if rule is None:
        return
    for name, part in (("rectifier", rule.rectifier), ("transformer", rule.transformer)):
        if part is not None:
            yield _part(basis, name, part, rule.form_factor)


def _part(basis: Basis, name: str, part: HeatedPart, form_factor: float) -> RuleBudget:
    """Of the effective current. That the form factor is right, no guard band can tell."""
    limit_a, overload_a = part.continuous_amperes, TIMES * part.continuous_amperes
    cold = ThermalReplica(limit_a, part.time_constant_seconds)
    read_low_a = form_factor * basis.shunt.expanded(overload_a / form_factor)
    heating_s = cold.left_s(overload_a - read_low_a)
    assert heating_s is not None
    most_a = basis.rules.overcurrent.trip_amperes
    most_s = cold.left_s(form_factor * most_a)
    lasting = (
        f" The {name} bears {most_a:g} A, the most that overcurrent lets last, for ever."
        if most_s is None
        else f" The {name} bears {most_a:g} A, the most that overcurrent lets last, "
        f"{most_s / 60:.0f} min."
    )
    return basis.budget(
        "supply_thermal",
        part=name,
        limit=(f"{name}.continuous_amperes", limit_a, "A"),
        guard_band=form_factor * basis.shunt.expanded(limit_a / form_factor),
        response=(
            Part(Stage.DELAY, "heating up from cold", heating_s),
            *basis.steps.windows(of=1, delay_s=0),
        ),
        response_at=overload_a,
        note=f"Effective current: {limit_a:g} A are {limit_a / form_factor:.0f} A as the shunt "
        f"shows them. From cold at {TIMES:g} times the limit; hot, it is sooner.{lasting}",
    )


def _temperature(basis: Basis) -> Iterator[RuleBudget]:
    rule = basis.rules.temperature
    if rule is None:
        return
    for limit in LIMITS:
        celsius = getattr(rule, limit.key)
        if celsius is not None:
            probes = [p for p in basis.settings.probes.values() if p.place == limit.place.value]
            every_s = max((_every_s(basis, probe) for probe in probes), default=LM75_EVERY_S)
            yield basis.budget(
                "temperature",
                part=limit.place.words + _side(limit.place, limit.side),
                limit=(limit.key, celsius, UNIT),
                guard_band=max((tolerance_k(probe, celsius) for probe in probes), default=None),
                response=basis.steps.answers(every_s, OF, rule.delay_seconds),
                upper=limit.side == "above",
            )
    lost = Part(Stage.DELAY, "no good answer of a probe", rule.lost_after_seconds)
    yield basis.budget(
        "temperature",
        part="probe lost",
        limit=("lost_after_seconds", rule.lost_after_seconds, "s"),
        response=(lost, *basis.steps.next_look(), *basis.steps.expiry()),
        note="Until then the last good answer counts.",
    )


def _every_s(basis: Basis, probe: Probe) -> float:
    """How often a probe answers. The one-wire bus reads its probes one after the other."""
    if probe.chip == "lm75":
        return LM75_EVERY_S
    return ONE_WIRE_READ_S * sum(p.chip == probe.chip for p in basis.settings.probes.values())


def _side(place: Place, side: str) -> str:
    """Said only of a place that has a limit on either side."""
    return f" {side}" if sum(limit.place is place for limit in LIMITS) > 1 else ""


def tolerance_k(probe: Probe, celsius: float) -> float:
    """Largest error of a probe at a temperature, in K."""
    low_c, high_c, within_k, beyond_k = TOLERANCES[probe.chip]
    return within_k if low_c <= celsius <= high_c else beyond_k
