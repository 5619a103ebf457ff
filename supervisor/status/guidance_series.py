"""What the metrics tell of the charge and its guidance, in base units.

Absent without guidance in the settings. What restarts with a session is a gauge, no counter.
"""

from collections.abc import Callable, Iterator

from supervisor.snapshot import ForecastView, GuidanceView, Snapshot, Stage
from supervisor.status.series import Samples, Series, one, one_of, states
from supervisor.status.wellformed import REST_STATES

COULOMBS_PER_AH = 3600.0
JOULES_PER_WH = 3600.0
COVERAGE = 2.0  # k: the uncertainties told here are expanded ones


def _figure(value: Callable[[GuidanceView], float | None]) -> Callable[[Snapshot], Samples]:
    return lambda s: one(value(s.guidance)) if s.guidance else ()


def _resistance_uncertainty(guidance: GuidanceView) -> float | None:
    standard_ohm = guidance.resistance_u_ohm
    return None if standard_ohm is None else COVERAGE * standard_ohm


def _cues(snapshot: Snapshot) -> Samples:
    """The text is no label: a number changed in it would begin another series."""
    return (((c.cue, c.urgency), 1) for c in snapshot.guidance.cues) if snapshot.guidance else ()


def _stages(snapshot: Snapshot) -> Samples:
    guidance = snapshot.guidance
    return one_of((stage.value for stage in Stage), guidance.stage) if guidance else ()


def _rest_states(snapshot: Snapshot) -> Samples:
    rest = snapshot.guidance.rest if snapshot.guidance else None
    return one_of(REST_STATES, rest.state) if rest else ()


def _forecast(name: str, what: str, of: Callable[[GuidanceView], ForecastView]) -> Iterator[Series]:
    unknown = "absent while it cannot be told"
    for ending, told, value in (
        ("", f"{what}; {unknown}.", lambda f: f.best_s),
        ("_low", f"{what}, at the soonest; {unknown}.", lambda f: f.low_s),
        ("_high", f"{what}, at the latest; {unknown}.", lambda f: f.high_s),
    ):

        def seconds(
            guidance: GuidanceView, value: Callable[[ForecastView], float | None] = value
        ) -> float | None:
            return value(of(guidance))

        yield Series(f"holdwatch_{name}{ending}_seconds", "seconds", told, _figure(seconds))


GUIDANCE_SERIES: tuple[Series, ...] = (
    states("holdwatch_charge_stage", "Stage of the charge", _stages),
    Series(
        "holdwatch_cue_active",
        "1",
        "1 for each cue that is shown to the operator now; absent without one.",
        _cues,
        ("cue", "urgency"),
    ),
    *_forecast(
        "time_to_limit",
        "Time until a cell reaches the limit at this setting of the knob",
        lambda g: g.to_limit,
    ),
    *_forecast("time_to_full", "Time until the bank is full", lambda g: g.to_full),
    Series(
        "holdwatch_session_charge_coulombs",
        "coulombs",
        "Charge put into the bank in this session.",
        _figure(lambda g: g.charged_ah * COULOMBS_PER_AH),
    ),
    Series(
        "holdwatch_session_charge_uncertainty_coulombs",
        "coulombs",
        "Expanded uncertainty (k = 2) of this session's charge.",
        _figure(lambda g: g.charged_u_ah * COULOMBS_PER_AH),
    ),
    Series(
        "holdwatch_session_energy_joules",
        "joules",
        "Energy put into the bank in this session.",
        _figure(lambda g: g.charged_wh * JOULES_PER_WH),
    ),
    Series(
        "holdwatch_session_charge_whole",
        "0 or 1",
        "1 when nothing is missing in this session's charge and energy.",
        _figure(lambda g: g.charge_is_whole),
    ),
    Series(
        "holdwatch_charge_left_coulombs",
        "coulombs",
        "What the bank's rating leaves to be charged, at the most.",
        _figure(lambda g: g.left_ah * COULOMBS_PER_AH),
    ),
    Series(
        "holdwatch_bank_resistance_ohms",
        "ohms",
        "What the bank answers a change of current with, learned from turns of the knob.",
        _figure(lambda g: g.resistance_ohm),
    ),
    Series(
        "holdwatch_bank_resistance_uncertainty_ohms",
        "ohms",
        "Expanded uncertainty (k = 2) of the bank's resistance.",
        _figure(_resistance_uncertainty),
    ),
    Series(
        "holdwatch_cell_rest_volts",
        "volts",
        "Highest cell's voltage less the drop that the current causes at once.",
        _figure(lambda g: g.at_rest_v),
    ),
    Series(
        "holdwatch_full_condition_seconds",
        "seconds",
        "For how long everything has been met that makes the bank full; absent while open.",
        _figure(lambda g: g.full.for_s if g.full else None),
    ),
    Series(
        "holdwatch_full_condition_required_seconds",
        "seconds",
        "For how long it must be met before the circuit opens as finished.",
        _figure(lambda g: g.full.of_s if g.full else None),
    ),
    states(
        "holdwatch_rest_check",
        "State of the rest check after a full charge, absent without one",
        _rest_states,
    ),
)
