"""Thermal rules to heat and to cool."""

from typing import Any

from cycles import Value, feed

from supervisor.protection.rules.supply_thermal import SupplyThermalRule
from supervisor.protection.verdict import Verdict
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import HeatedPart, SupplyThermal

STEP_S = 0.5


def part(continuous_a: float, time_constant_s: float) -> HeatedPart:
    return HeatedPart(continuous_amperes=continuous_a, time_constant_seconds=time_constant_s)


def with_thermal(settings: SupervisorSettings, **block: Any) -> SupervisorSettings:
    """One rectifier of 100 A effective and 600 s, fed with its effective current, unless said."""
    ways = {"rectifier": part(100, 600), "form_factor": 1.0} | block
    protection = settings.protection.model_copy(update={"supply_thermal": SupplyThermal(**ways)})
    return settings.model_copy(update={"protection": protection})


def carry(
    rule: SupplyThermalRule, amperes: Value, for_s: float, from_s: float = 0.0, **ways: Any
) -> list[Verdict]:
    """Windows of one current, every half second after ``from_s``."""
    count = round(for_s / STEP_S)
    what = {"amperes": amperes} | ways
    return feed(rule, [(from_s + k * STEP_S, what) for k in range(1, count + 1)])


def kept(rule: SupplyThermalRule, **thetas: float) -> dict[str, float]:
    """A memory of these thetas, with the amperes that the rule reckons with."""
    amperes = {name: a for name, a in rule.memory(0.0).items() if name.endswith("_a")}
    return thetas | amperes


def heated(rule: SupplyThermalRule, *thetas: float) -> SupplyThermalRule:
    """The rule at time 0 with this heat."""
    names = ("rectifier", "transformer")
    rule.recall(kept(rule, **dict(zip(names, thetas, strict=False))), 0.0, is_whole=True)
    return rule
