"""Run k of seed S as a scenario document, drawn from (S, k) alone."""

from collections.abc import Iterator
from dataclasses import dataclass
from random import Random
from typing import Any

from supervisor.bench.campaign.base import NAME, bare_bank
from supervisor.bench.campaign.draw_faults import draw_fault
from supervisor.bench.campaign.draw_plant import (
    draw_plant,
    knob_step,
    rest_v,
    set_charge,
    set_for_pulses,
    set_knob,
)
from supervisor.bench.campaign.draw_requests import draw_requests
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
HEALS_S = ((0.1, 6), (0.1, 6), (0.3, 1.5))
KILLED = 0.08
NEAR_SHARE = 0.6  # of the runs start close below the main limit
NEAR_V = (0.003, 0.08)
PULSES_S = (60, 100)  # of a run that has time for some
PULSE_DROP_V = (0.015, 0.04)
PULSE_STARTS = (0.4, 0.9)  # of that drop below what ends a pulse
PULSE_C = 0.1  # of the rating, in amperes: more fills the bank in the first pulse
RATING = "protection.session_charge.trip_ampere_hours"
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
    overrides = draw_settings(rng, plant, clean=clean)
    seconds = LONG_S if rng.random() < LONG_SHARE else rng.randint(SHORTEST_S, LONGEST_S)
    pulsed = overrides["charge"].get("pulsed_hold")
    if not clean and not pulsed and rng.random() < NEAR_SHARE:
        limit_v = overrides["protection.overvoltage.trip_volts"]
        set_charge(plant, limit_v - rng.uniform(*NEAR_V))
    operator = _operator(rng, overrides, clean=clean)
    if pulsed:
        seconds = rng.randint(*PULSES_S)
        _prepare_pulses(rng, plant, overrides, operator)
    wanted_a = operator["target_amperes"] * rng.uniform(0.7 if pulsed else 0.0, 1.0)
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


def _prepare_pulses(
    rng: Random, plant: dict[str, Any], overrides: dict[str, Any], operator: dict[str, Any]
) -> None:
    """A bank that the hold's current lifts to where a pulse ends, and that falls back soon."""
    above_v = overrides["charge"]["pulsed_hold"]["open_above_volts"]
    drop_v, rating_ah = rng.uniform(*PULSE_DROP_V), overrides[RATING]
    operator["target_amperes"] = round(min(operator["target_amperes"], PULSE_C * rating_ah), 1)
    set_for_pulses(plant, overrides["bank.cells_in_parallel"], drop_v, operator["target_amperes"])
    set_charge(plant, above_v - drop_v * rng.uniform(*PULSE_STARTS))
    operator["hold_volts"] = round(above_v + 0.02, 3)  # nobody is to turn it down before


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
    """What goes wrong, what somebody asks for, and a kill; times of the one draw the other."""
    last_s = scenario.seconds - LAST_FAULT_BEFORE_END_S
    troubles = [*_faults(rng, scenario, settings, last_s), *_kills(rng, last_s)]
    anchors = [act["at_seconds"] for act in troubles]
    if settings.charge and settings.charge.pulsed_hold:
        anchors.append(last_s)  # when some have come to their end
    names = (settings.profile, *settings.profiles)
    yield from troubles
    yield from draw_requests(rng, names, anchors, scenario.seconds - 0.5)


def _faults(
    rng: Random, scenario: Scenario, settings: SupervisorSettings, last_s: float
) -> Iterator[dict[str, Any]]:
    """None to three; some heal."""
    healing: set[str] = set()
    for _ in range(rng.choice((0, 1, 1, 1, 1, 2, 2, 3))):
        at_s = round(rng.uniform(FIRST_FAULT_S, last_s), 2)
        fault = draw_fault(rng, settings, scenario.plant)
        yield {"at_seconds": at_s, "fault": fault}
        if rng.random() < HEALS and fault["kind"] not in healing:
            healing.add(fault["kind"])
            heals_s = min(at_s + rng.uniform(*rng.choice(HEALS_S)), scenario.seconds)
            yield {"at_seconds": round(heals_s, 2), "clear": fault["kind"]}


def _kills(rng: Random, last_s: float) -> Iterator[dict[str, Any]]:
    """Now and then the process is killed and started anew."""
    if rng.random() < KILLED:
        at_s = round(rng.uniform(FIRST_FAULT_S, last_s), 3)
        yield {"at_seconds": at_s, "kill": {"down_seconds": round(rng.uniform(0.01, 4), 2)}}
