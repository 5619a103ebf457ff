"""Run k of seed S as a scenario document, drawn from (S, k) alone."""

from collections.abc import Iterator
from dataclasses import dataclass
from random import Random
from typing import Any

from supervisor.bench.campaign.base import NAME, bare_bank
from supervisor.bench.campaign.draw_faults import draw_fault
from supervisor.bench.campaign.draw_plant import draw_plant, knob_step, rest_v, set_charge, set_knob
from supervisor.bench.campaign.draw_settings import draw_settings
from supervisor.bench.scenario import Scenario, settings_of
from supervisor.settings.document import Document
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.load import validate
from supervisor.settings.model import SupervisorSettings

CLEAN_SHARE = 0.15
SHORTEST_S, LONGEST_S = 14, 26
LONG_S = 60
LONG_SHARE = 0.05
FIRST_FAULT_S = 1.0
LAST_FAULT_BEFORE_END_S = 5.0
HEALS = 0.25
KILLED = 0.08
NEAR_SHARE = 0.6  # of the runs start close below the main limit
NEAR_V = (0.003, 0.08)
OPERATORS = ("careful", "hasty", "asleep", "wrong_way")
HOLD_V = (0.03, 0.1)  # below the main limit
ANY_HOLD_V = (-0.05, 0.08)
TRIES = 1000
THERMAL, CONTINUOUS = "protection.supply_thermal", "continuous_amperes"
BEARS = {CONTINUOUS: 1e6}


@dataclass(frozen=True, slots=True)
class Drawn:
    """A scenario document ready to run, and how many settings `check` refused before it."""

    document: dict[str, Any]
    refused: int


def draw(seed: int, run: int) -> Drawn:
    rng = Random(f"campaign {seed} {run}")
    is_clean = rng.random() < CLEAN_SHARE
    for refused in range(TRIES):
        document = _build(rng, seed, run, clean=is_clean)
        try:
            scenario, settings = prepare(document)
        except SettingsFaults:
            continue
        document["timeline"] = [] if is_clean else list(_timeline(rng, scenario, settings))
        return Drawn(document, refused)
    raise RuntimeError(f"run {run} of seed {seed}: no settings that `check` accepts")


def prepare(document: dict[str, Any]) -> tuple[Scenario, SupervisorSettings]:
    """What a scenario file with this content would be. Raises SettingsFaults."""
    held = Document(str(document["name"]), document, {})
    scenario = validate(Scenario, held)
    return scenario, settings_of(scenario, held, bare_bank())


def _build(rng: Random, seed: int, run: int, *, clean: bool) -> dict[str, Any]:
    plant = draw_plant(rng, clean=clean)
    overrides = draw_settings(rng, plant)
    seconds = LONG_S if rng.random() < LONG_SHARE else rng.randint(SHORTEST_S, LONGEST_S)
    if not clean and rng.random() < NEAR_SHARE:
        limit_v = overrides["protection.overvoltage.trip_volts"]
        set_charge(plant, limit_v - rng.uniform(*NEAR_V))
    operator = _operator(rng, overrides, clean=clean)
    wanted_a = operator["target_amperes"] * rng.uniform(0.0, 1.0)
    set_knob(plant, rest_v(plant), wanted_a)
    operator["knob_step"] = knob_step(plant, _dares_a(rng, operator["kind"]))
    return {
        "name": f"Campaign seed {seed} run {run}",
        "settings": NAME,
        "overrides": overrides,
        "seed": rng.randint(1, 10**6),
        "seconds": seconds,
        "plant": plant,
        "operator": operator,
        "invariants": "clean" if clean else "faulty",
        "timeline": [],
        "expect": {"outcome": "open"},
    }


def _operator(rng: Random, overrides: dict[str, Any], *, clean: bool) -> dict[str, Any]:
    most_a = overrides["protection.overcurrent.trip_amperes"]
    limit_v = overrides["protection.overvoltage.trip_volts"]
    if clean:  # nor more than the rectifier bears for ever, if that is watched
        most_a = min(most_a, overrides.get(THERMAL, {}).get("rectifier", BEARS).get(CONTINUOUS))
    share = rng.uniform(0.1, 0.6) if clean else rng.uniform(0.2, 1.05)
    return {
        "kind": "careful" if clean else rng.choice(OPERATORS),
        "looks_every_seconds": round(rng.uniform(1, 4), 1),
        "reaction_seconds": round(rng.uniform(0.3, 2), 1),
        "target_amperes": round(most_a * share, 1),
        "hold_volts": round(limit_v - rng.uniform(*(HOLD_V if clean else ANY_HOLD_V)), 3),
    }


def _dares_a(rng: Random, kind: str) -> float:
    """More current in one go: what this operator dares."""
    return rng.uniform(20, 120) if kind == "hasty" else rng.uniform(3, 12)


def _timeline(
    rng: Random, scenario: Scenario, settings: SupervisorSettings
) -> Iterator[dict[str, Any]]:
    """None to three faults; some heal; now and then the process is killed and started anew."""
    last_s = scenario.seconds - LAST_FAULT_BEFORE_END_S
    healing: set[str] = set()
    for _ in range(rng.choice((0, 1, 1, 1, 1, 2, 2, 3))):
        at_s = round(rng.uniform(FIRST_FAULT_S, last_s), 2)
        fault = draw_fault(rng, settings, scenario.plant)
        yield {"at_seconds": at_s, "fault": fault}
        if rng.random() < HEALS and fault["kind"] not in healing:
            healing.add(fault["kind"])
            heals_s = min(at_s + rng.uniform(0.1, 6), scenario.seconds)
            yield {"at_seconds": round(heals_s, 2), "clear": fault["kind"]}
    if rng.random() < KILLED:
        at_s = round(rng.uniform(FIRST_FAULT_S, last_s), 3)
        yield {"at_seconds": at_s, "kill": {"down_seconds": round(rng.uniform(0.01, 4), 2)}}
