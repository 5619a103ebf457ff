"""What the operator might do now, in plain words: few, ranked, each with number and reason."""

from collections.abc import Callable, Iterator, Mapping, Set
from dataclasses import dataclass
from math import inf
from typing import NamedTuple

from supervisor.guidance.forecast import Left
from supervisor.guidance.seconds import Second
from supervisor.guidance.words import millivolts, span, when
from supervisor.protection.rules.temperature import NEAR_HOT_K
from supervisor.protection.verdict import State, Verdict
from supervisor.protection.wording import amount
from supervisor.settings.charge import Charge
from supervisor.snapshot import Circuit, RestView, Stage, Urgency

MOST_SHOWN = 3
EASE_WITHIN_S = 300.0  # of the limit, in the taper
CREEPS_WITHIN_S = 1800.0  # of the limit, in the hold
NOW_WITHIN_S = 300.0
HEAT_WITHIN_S = 900.0
TOO_FAST_SHARE = 0.5  # of what trips
MUCH, LITTLE = 1.1, 0.85  # of the target
SMALL, LEVEL_FOR_S = 0.2, 600.0  # of the target: eased down too far, when nothing rises so long
CALM_FOR_S = 300.0  # before it is said that the knob may go up
BELOW_TRIP = 0.9  # of a stage's limit: nobody is led closer to it
SHOWN_LONGER = 0.05  # of a limit: a cue that is shown stays until the value is so far beyond it
A_FEW = 3  # sounds, of what is over: then it is only shown
CREEPING_AFTER = 2.0  # times what a full bank needs
NO_END_AFTER_S = 2 * 3600.0


class Cue(NamedTuple):
    name: str
    urgency: Urgency
    text: str
    reason: str
    most_sounds: float = inf


@dataclass(frozen=True)
class Situation:
    """All that a cue may look at. ``second`` is the newest, None when it cannot be told."""

    charge: Charge
    circuit: Circuit
    stage: Stage
    stage_for_s: float
    second: Second | None
    bars_ohm: float
    verdicts: Mapping[str, Verdict]
    to_limit: Left | None
    calm_for_s: float  # nobody was told to ease down, and the knob was left alone
    has_neared: bool  # the limit, once in this closing: within CREEPS_WITHIN_S
    level_for_s: float  # no cell rises, or next to nothing flows
    after_turn_v: float | None  # of the highest cell, once the target flows; None: not known
    has_stopped: bool  # the current, without fading
    has_flowed: bool
    shown: Set[str]  # names, a second ago
    stage_trip_a: float | None
    full_met_s: float
    small_for_s: float  # the current has been below its end for so long
    current_no_longer_falls: bool
    missing: tuple[str, ...]
    finished_because: str
    pulses_ended_because: str
    rest: RestView | None


def cues(now: Situation) -> list[Cue]:
    """The most urgent first."""
    found = [cue for make in MAKERS if (cue := make(now)) is not None]
    if any(cue.urgency is not Urgency.NOTE for cue in found):
        found = [cue for cue in found if cue.name != "turn_up"]
    return sorted(found, key=lambda cue: RANK[cue.urgency])[:MOST_SHOWN]


def _too_fast(now: Situation) -> Cue | None:
    for rule in ("knob_speed", "rate_of_rise"):
        verdict = now.verdicts.get(rule)
        if now.circuit is not Circuit.CLOSED or verdict is None or verdict.measured is None:
            continue
        if verdict.measured > TOO_FAST_SHARE * verdict.limit and _counts(now, rule):
            rises = amount(verdict.measured, verdict.unit)
            trips = f"{amount(verdict.limit, verdict.unit)} trips"
            return Cue("too_fast", Urgency.NOW, f"Too fast: {rises}. Ease down.", trips)
    return None


def _counts(now: Situation, rule: str) -> bool:
    """The rate of rise is watched near the end only; before, a fast rise is ordinary."""
    return rule == "knob_speed" or now.stage is not Stage.BULK


def _timing(now: Situation) -> Cue | None:
    for rule in TURNED_DOWN_BY_HAND:
        verdict = now.verdicts.get(rule)
        if verdict is not None and verdict.state is State.TIMING and _closed(now):
            return Cue("ease_down", Urgency.NOW, "Ease down now.", verdict.reason)
    return None


TURNED_DOWN_BY_HAND = (
    "overvoltage",
    "overvoltage_high_set",
    "stage_limits",
    "overcurrent",
    "overcurrent_inverse",
)


def _will_trip(now: Situation) -> Cue | None:
    """In the taper the limit is near; in the hold the voltage creeps."""
    left, is_hold = now.to_limit, now.stage is Stage.HOLD
    creeps_s = EASE_WITHIN_S if now.charge.regulated else CREEPS_WITHIN_S  # it holds by itself
    within_s = creeps_s if is_hold else EASE_WITHIN_S
    if not _closed(now) or left is None or left.seconds > within_s:
        return None
    soon = f"it will trip {when(left.low_s, left.high_s)}"
    urgency = Urgency.NOW if left.seconds <= NOW_WITHIN_S else Urgency.SOON
    if is_hold:
        return Cue("creeps", urgency, f"Voltage creeps at this setting: {soon}. Ease down.", "")
    return Cue("ease_down", urgency, f"Ease down: at this setting {soon}.", "")


def _above(now: Situation) -> Cue | None:
    second, charge = now.second, now.charge
    if second is None or not _closed(now):
        return None
    if second.highest_v > charge.hold_volts and second.amperes > second.unsure_a:
        text = f"Ease down: {second.highest.words} at {amount(second.highest_v, 'V')}."
        held = f"{amount(charge.hold_volts, 'V')} is to be held at the most"
        return Cue("ease_down", Urgency.SOON, text, held)
    if second.amperes > MUCH * charge.target_amperes:
        text = f"Ease down: {amount(second.amperes, 'A')}."
        return Cue("ease_down", Urgency.SOON, text, f"the target is {charge.target_amperes:g} A")
    return None


def _heat(now: Situation) -> Cue | None:
    """The parts that probes are on before the supply: cells may be among them, and cells burn."""
    hot = [*_hot_part(now), *_hot_supply(now)]
    if not hot:
        return None
    texts, reasons = zip(*hot, strict=True)
    return Cue("heat", Urgency.SOON, " ".join(texts), "; ".join(reasons))


def _hot_part(now: Situation) -> Iterator[tuple[str, str]]:
    probes = now.verdicts.get("temperature")
    if probes is None or probes.measured is None or probes.unit != "°C":
        return
    below_k = probes.limit - probes.measured
    near = 0 <= below_k < NEAR_HOT_K and probes.limit > 30
    if near or (probes.state is State.TIMING and below_k < 0):  # too cold times above its limit
        text = f"Heat near its limit: {amount(probes.measured, '°C')}."
        yield text, f"{probes.reason}; give it air, or turn down"


def _hot_supply(now: Situation) -> Iterator[tuple[str, str]]:
    supply = now.verdicts.get("supply_thermal")
    if supply is None or not _closed(now):
        return
    near = supply.left_s is not None and supply.left_s < HEAT_WITHIN_S
    if supply.state is State.TIMING or near:
        yield "Supply near its limit: turn down.", supply.reason


def _far_lags(now: Situation) -> Cue | None:
    full = now.charge.full
    lag_v = now.second.lag_v(now.bars_ohm) if now.second else None
    if now.stage is not Stage.HOLD or full is None or lag_v is None or not _closed(now):
        return None
    if lag_v <= full.spread_volts:
        return None
    text = f"Far cell lags by {millivolts(lag_v)}: hold on."
    wanted = f"full at {millivolts(full.spread_volts)} or less; the bars take their time"
    return Cue("far_lags", Urgency.NOTE, text, wanted)


def _creeping(now: Situation) -> Cue | None:
    """A tiny current held up to the limit overcharges a bank that is full."""
    full = now.charge.full
    if full is None or now.stage is not Stage.HOLD or now.second is None or not _closed(now):
        return None
    if now.has_stopped:
        return None
    if now.full_met_s > 0 or now.small_for_s < CREEPING_AFTER * full.minutes * 60:
        return None
    text = (
        f"Held by {amount(max(now.second.amperes, 0.0), 'A')} only for {span(now.small_for_s)}: "
        "open it, and find out what is missing."
    )
    why = f"a tiny current held so long overcharges; not full: {'; '.join(now.missing)}"
    return Cue("creeping", Urgency.SOON, text, why)


def _no_end(now: Situation) -> Cue | None:
    is_long = now.stage is Stage.HOLD and now.stage_for_s > NO_END_AFTER_S
    if not (is_long and now.current_no_longer_falls and now.second and _closed(now)):
        return None
    text = f"The current no longer falls: {amount(now.second.amperes, 'A')} for an hour."
    why = "one bad cell that leaks takes it for ever; look for one that is warm"
    return Cue("no_end", Urgency.SOON, text, why)


def _small_supply(now: Situation) -> Cue | None:
    most_a, second = now.charge.bench_supply_amperes, now.second
    if most_a is None or now.charge.regulated:
        return None
    if now.stage is not Stage.HOLD or second is None or not _closed(now):
        return None
    if now.has_stopped or not now.has_flowed:
        return None
    margin = SHOWN_LONGER if "small_supply" in now.shown else -SHOWN_LONGER
    if not abs(second.amperes) + second.unsure_a < (1 + margin) * most_a:
        return None
    text = f"{amount(second.amperes, 'A')}: low enough for the small bench supply."
    return Cue("small_supply", Urgency.NOTE, text, f"it gives {most_a:g} A, and holds by itself")


def is_near(left: Left) -> bool:
    """The limit may be so near that nobody turns up."""
    return left.low_s < CREEPS_WITHIN_S


def _turn_up(now: Situation) -> Cue | None:
    """Only where something says that there is room: no forecast is no reason."""
    second, charge = now.second, now.charge
    if second is None or not _closed(now) or now.stage not in (Stage.BULK, Stage.TAPER):
        return None
    is_far = now.to_limit is not None and not is_near(now.to_limit)
    is_flat = now.stage is Stage.BULK and now.to_limit is None and not now.has_neared
    is_level = now.level_for_s >= LEVEL_FOR_S and second.amperes < SMALL * charge.target_amperes
    lands_v = second.highest_v if now.after_turn_v is None else now.after_turn_v
    has_room = lands_v < charge.hold_from_v and (is_far or is_flat or is_level)
    target_a, name = _target(now)
    if not has_room or now.calm_for_s < CALM_FOR_S or second.amperes >= LITTLE * target_a:
        return None
    text = f"{amount(second.amperes, 'A')} flows, {target_a:.0f} A is {name}: you may turn up."
    room = f"{millivolts(charge.hold_volts - second.highest_v)} to the hold"
    return Cue("turn_up", Urgency.NOTE, text, room)


def _target(now: Situation) -> tuple[float, str]:
    """What may flow, and how that is called."""
    wanted_a, trip_a = now.charge.target_amperes, now.stage_trip_a
    if trip_a is None or BELOW_TRIP * trip_a >= wanted_a:
        return wanted_a, "the target"
    return BELOW_TRIP * trip_a, f"well below what trips in the {now.stage.value}"


def _no_current(now: Situation) -> Cue | None:
    """Before anything has flowed, the knob is still down, and that is as it should be."""
    if not _closed(now) or not now.has_stopped or now.second is None:
        return None
    if not now.has_flowed and now.stage is Stage.BULK:
        return None
    at = f"that of the cells, {amount(now.second.highest_v, 'V')}"
    why = f"is the supply on, its fuse whole, its voltage set above {at}?"
    return Cue("no_current", Urgency.SOON, "No current flows.", why, A_FEW)


def _pulses_ended(now: Situation) -> Cue | None:
    if now.circuit not in (Circuit.OPEN, Circuit.UNFIT) or not now.pulses_ended_because:
        return None
    text = "The pulsed hold has ended, and it is not known to be full. Knob to zero, supply off."
    return Cue("pulses_ended", Urgency.SOON, text, now.pulses_ended_because, A_FEW)


def _full(now: Situation) -> Cue | None:
    if now.circuit is not Circuit.FINISHED:
        return None
    text = "Full: the circuit is open. Knob to zero, supply off."
    return Cue("full", Urgency.SOON, text, now.finished_because, A_FEW)


def _rest_failed(now: Situation) -> Cue | None:
    rest = now.rest
    if rest is None or rest.state == "watching":
        return None
    if rest.state == "passed":
        return Cue("rested", Urgency.NOTE, "The rest check is passed: the balance took.", "")
    why = "; ".join(rest.findings)
    return Cue("rest_failed", Urgency.SOON, "The rest check is not passed.", why, A_FEW)


def _closed(now: Situation) -> bool:
    return now.circuit is Circuit.CLOSED


# In this order where they are equally urgent; of those that say "ease down" the first counts.
MAKERS: tuple[Callable[[Situation], Cue | None], ...] = (
    lambda now: _timing(now) or _too_fast(now) or _will_trip(now) or _above(now),
    _heat,
    _rest_failed,
    _full,
    _pulses_ended,
    _no_current,
    _creeping,
    _no_end,
    _far_lags,
    _small_supply,
    _turn_up,
)
RANK = {urgency: rank for rank, urgency in enumerate(Urgency)}
