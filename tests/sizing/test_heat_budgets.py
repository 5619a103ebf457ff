"""Budgets of heat: published times of the thermal replica, probes by their data sheets."""

from collections.abc import Callable
from itertools import product
from math import floor, log, sqrt

import pytest
from cycles import CLOSED, TRIP, with_rule

from supervisor.protection.rules.temperature import TemperatureRule
from supervisor.readings import Pace, Place, ProbeReading, Quality, Readings
from supervisor.settings.hardware import Probe
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import HeatedPart
from supervisor.sizing.budget import RuleBudget
from supervisor.sizing.heat_budgets import tolerance_k
from supervisor.sizing.response import budgets
from supervisor.sizing.steps import Stage

BudgetOf = Callable[[SupervisorSettings, str], RuleBudget]

SHUNT_AT_0_A, SHUNT_AT_200_A = 0.11553, 0.72184  # published, as in test_rule_budgets.py
SCAN_S = 3 * (1.15 / 860 + 0.0019) + 3 * 0.000475
OPENING_S = 1.6 / 7 + 0.25 + 0.03


def shunt_uncertainty_a(amperes: float) -> float:
    growing = (SHUNT_AT_200_A**2 - SHUNT_AT_0_A**2) / 200**2
    return sqrt(SHUNT_AT_0_A**2 + growing * amperes**2)


# Reckoned


def cold_s(tau_s: float, times: float) -> float:
    return tau_s * log(times**2 / (times**2 - 1))


@pytest.mark.parametrize(
    ("title", "limit_a", "tau_s"),
    [("supply_thermal, rectifier", 150, 300), ("supply_thermal, transformer", 140, 2400)],
)
def test_heat_from_cold_at_one_and_a_half_times(
    full: SupervisorSettings, budget_of: BudgetOf, title: str, limit_a: float, tau_s: float
) -> None:
    """IEC 60255-149, tau 600 s, 1.5 times, cold: 352.67 s; times are in proportion to tau. The
    shunt may read low by its uncertainty, which makes it a little longer."""
    found = budget_of(full, title)
    assert cold_s(600, 1.5) == pytest.approx(352.67, abs=0.01)
    read_low = 1.2 * shunt_uncertainty_a(1.5 * limit_a / 1.2) / limit_a
    assert found.stage_s(Stage.DELAY) == pytest.approx(cold_s(tau_s, 1.5 - read_low), rel=1e-5)
    assert found.stage_s(Stage.DELAY) > 352.67 / 600 * tau_s
    assert found.response_s == pytest.approx(
        found.stage_s(Stage.DELAY) + 0.2 + 0.1 / 7 + SCAN_S + OPENING_S
    )
    assert (found.limit, found.unit, found.response_at) == (limit_a, "A", 1.5 * limit_a)


def test_the_guard_band_is_of_the_effective_current(
    full: SupervisorSettings, budget_of: BudgetOf
) -> None:
    """150 A effective are 125 A on the shunt at a form factor of 1.2."""
    found = budget_of(full, "supply_thermal, rectifier")
    assert found.guard_band == pytest.approx(1.2 * shunt_uncertainty_a(125), abs=3e-5)


def test_a_supply_without_transformer_has_one_budget(full: SupervisorSettings) -> None:
    part = HeatedPart(continuous_amperes=100, time_constant_seconds=600)
    alone = with_rule(full, "supply_thermal", transformer=None, rectifier=part)
    found = [b for b in budgets(alone) if b.rule == "supply_thermal"]
    assert [b.limit_key for b in found] == [
        "protection.supply_thermal.rectifier.continuous_amperes"
    ]
    assert 352.67 < found[0].stage_s(Stage.DELAY) < 360


# Measured


@pytest.mark.parametrize(
    ("chip", "celsius", "kelvin"),
    [  # data sheets of both classes, from memory
        ("ds18b20", 25, 0.5),
        ("ds18b20", -10, 0.5),
        ("ds18b20", -10.1, 2.0),
        ("ds18b20", 85, 0.5),
        ("ds18b20", 85.1, 2.0),
        ("lm75", 25, 2.0),
        ("lm75", -25, 2.0),
        ("lm75", -25.1, 3.0),
        ("lm75", 100, 2.0),
        ("lm75", 100.1, 3.0),
    ],
)
def test_tolerance_of_a_probe(chip: str, celsius: float, kelvin: float) -> None:
    probe = Probe.model_construct(chip=chip, place="cells")
    assert tolerance_k(probe, celsius) == kelvin


@pytest.mark.parametrize(
    ("title", "limit_c", "sure_from_c"),
    [
        ("temperature, heat sink", 80, 82),  # an LM75
        ("temperature, transformer", 100, 102),  # a DS18B20 beyond 85 degrees
        ("temperature, cells above", 45, 45.5),
        ("temperature, cells below", 5, 4.5),
    ],
)
def test_each_limit_is_sure_by_its_probes_tolerance(
    full: SupervisorSettings, budget_of: BudgetOf, title: str, limit_c: float, sure_from_c: float
) -> None:
    found = budget_of(full, title)
    assert (found.limit, found.unit, found.effective_limit) == (limit_c, "°C", sure_from_c)


def test_the_worst_probe_of_a_place_counts(full: SupervisorSettings, budget_of: BudgetOf) -> None:
    coarse = Probe(chip="lm75", place="cells", address=0x4D)
    more = full.model_copy(update={"probes": {**full.probes, "edge": coarse}})
    assert budget_of(more, "temperature, cells above").guard_band == 2.0
    assert budget_of(more, "temperature, transformer").guard_band == 2.0
    assert budget_of(full, "temperature, cells above").guard_band == 0.5


def test_the_slowest_probe_of_a_place_counts(full: SupervisorSettings, budget_of: BudgetOf) -> None:
    """One of two on the one-wire bus answers every 2 s, an LM75 every second."""
    quick = Probe(chip="lm75", place="cells", address=0x4D)
    more = full.model_copy(update={"probes": {**full.probes, "edge": quick}})
    before, after = (budget_of(s, "temperature, cells above").response_s for s in (full, more))
    assert after == before


def test_limits_that_are_not_set_have_no_budget(full: SupervisorSettings) -> None:
    warm = with_rule(full, "temperature", cells_below_celsius=None, heat_sink_above_celsius=None)
    titles = [b.title for b in budgets(warm) if b.rule == "temperature"]
    assert titles == [
        "temperature, transformer", "temperature, cells above", "temperature, probe lost"
    ]  # fmt: skip


def test_limits_without_a_probe_are_a_fault_and_no_crash(
    full: SupervisorSettings, budget_of: BudgetOf
) -> None:
    found = budget_of(full.model_copy(update={"probes": {}}), "temperature, heat sink")
    assert found.guard_band is None
    assert found.effective_limit is None


@pytest.mark.parametrize(
    ("title", "every_s", "delay_s", "waits_s"),
    [
        ("temperature, heat sink", 1.0, 5.0, 6.0),  # LM75: once a second
        ("temperature, cells above", 2.0, 5.0, 6.0),  # one of two on the one-wire bus
        ("temperature, heat sink", 1.0, 0.0, 2.0),  # confirmation alone: two more of three
        ("temperature, heat sink", 1.0, 0.5, 2.0),
        ("temperature, cells above", 2.0, 1.0, 4.0),
        ("temperature, cells below", 2.0, 4.0, 6.0),
    ],
)
def test_the_response_of_a_probe_by_hand(
    full: SupervisorSettings, budget_of: BudgetOf, title: str, every_s: float, delay_s: float,
    waits_s: float,
) -> None:  # fmt: skip
    found = budget_of(with_rule(full, "temperature", delay_seconds=delay_s), title)
    assert found.stage_s(Stage.DELAY) == waits_s
    by_hand_s = 2 * every_s + waits_s + 0.1 + 0.1 / 7 + SCAN_S + OPENING_S
    assert found.response_s == pytest.approx(by_hand_s)


def answered(asked_s: float, celsius: float) -> Readings:
    probe = ProbeReading("sink", Place.HEAT_SINK, celsius, Quality.GOOD, asked_s)
    return Readings({}, None, True, CLOSED, Pace(0.0, 0), {"sink": probe})


def to_trip_s(
    settings: SupervisorSettings, fault_s: float, odd: int | None, phase_s: float
) -> float:
    """The rule fed by a probe asked every second, each answer a second late; one of them odd. A
    window closes every 100 ms."""
    rule = TemperatureRule(settings)
    for number in range(10, 1000):
        now_s = number * 0.1 + phase_s
        asked_s = floor(now_s - 1)
        hot = asked_s >= fault_s and asked_s != odd
        if rule.judge(answered(asked_s, 90.0 if hot else 20.0), now_s).state is TRIP:
            return now_s - fault_s
    raise AssertionError("never tripped")


@pytest.mark.parametrize("delay_s", [0.0, 0.5, 2.0, 2.5, 5.0])
def test_the_rule_itself_never_takes_longer(
    full: SupervisorSettings, budget_of: BudgetOf, delay_s: float
) -> None:
    settings = with_rule(full, "temperature", delay_seconds=delay_s)
    only = {"sink": settings.probes["sink"]}
    settings = with_rule(
        settings.model_copy(update={"probes": only}),
        "temperature",
        transformer_above_celsius=None,
        cells_above_celsius=None,
        cells_below_celsius=None,
    )
    found = budget_of(settings, "temperature, heat sink")
    bound_s = found.response_s - found.stage_s(Stage.OPEN) - found.stage_s(Stage.LATE)
    worst_s = max(
        to_trip_s(settings, 10 + part / 10 + 1e-6, odd, phase / 50)
        for part, odd, phase in product(range(10), (None, 12), range(5))
    )
    assert bound_s - 2.1 <= worst_s <= bound_s


def test_a_lost_probe_lets_the_permission_run_out(
    full: SupervisorSettings, budget_of: BudgetOf
) -> None:
    """Pulse drive: the driver's 250 ms; level: what is left of the lease, 400 ms."""
    found = budget_of(full, "temperature, probe lost")
    assert (found.limit, found.unit) == (15, "s")
    assert found.response_s == pytest.approx(15 + 0.1 + 0.1 / 7 + 0.25 + 0.03)
    level = full.contactor.model_copy(update={"drive": "level"})
    found = budget_of(full.model_copy(update={"contactor": level}), "temperature, probe lost")
    assert found.response_s == pytest.approx(15 + 0.1 + 0.1 / 7 + 0.4 + 0.03)
