"""What the metrics tell of each protection rule, in base units."""

from collections.abc import Callable, Iterator

from supervisor.snapshot import RuleView, Snapshot
from supervisor.status.series import Samples, Series, one_of, states
from supervisor.status.wellformed import RULE_STATES

# Unit of a rule's limit: ending of the metric's name, base units per unit.
RULE_UNITS = {
    "volts": {"V": 1.0},
    "amperes": {"A": 1.0},
    "volts_per_second": {"V/min": 1 / 60, "V/s": 1.0},
    "amperes_per_second": {"A/s": 1.0},
    "seconds": {"s": 1.0, "h": 3600.0},
    "coulombs": {"Ah": 3600.0},
    "celsius": {"°C": 1.0},
    "ohms": {"microohm": 1e-6},
    "ratio": {"%": 0.01},
}


def _each(value: Callable[[RuleView], float | None]) -> Callable[[Snapshot], Samples]:
    def samples(snapshot: Snapshot) -> Samples:
        for rule in snapshot.rules:
            number = value(rule)
            if number is not None:
                yield (rule.rule,), number

    return samples


def _off(snapshot: Snapshot) -> Samples:
    """The reason is no label: a word changed in it would begin another series."""
    yield from (((missing.rule,), 1) for missing in snapshot.without)
    yield from (((rule.rule,), 0) for rule in snapshot.rules)


def _rule_figures(figure: str, what: str) -> Iterator[Series]:
    for ending, units in RULE_UNITS.items():

        def in_base_units(rule: RuleView, units: dict[str, float] = units) -> float | None:
            value: float | None = getattr(rule, figure)
            return None if value is None or rule.unit not in units else value * units[rule.unit]

        name, unit = f"holdwatch_rule_{figure}_{ending}", ending.replace("_", " ")
        scale = "as a ratio" if unit == "ratio" else f"in {unit}"
        yield Series(name, unit, f"{what} {scale}.", _each(in_base_units), ("rule",))


RULE_SERIES: tuple[Series, ...] = (
    states(
        "holdwatch_rule_state",
        "State of each protection rule",
        lambda s: (
            ((rule.rule, *state), value)
            for rule in s.rules
            for state, value in one_of(RULE_STATES, rule.state)
        ),
        ("rule",),
    ),
    Series(
        "holdwatch_rule_off",
        "0 or 1",
        "1 when the risk needs this protection rule and the settings do without it.",
        _off,
        ("rule",),
    ),
    Series(
        "holdwatch_rule_trips_in_seconds",
        "seconds",
        "Time until a protection rule trips if things stay as they are; absent if it would not.",
        _each(lambda r: r.left_s),
        ("rule",),
    ),
    *_rule_figures("limit", "Limit of a protection rule that is set"),
    *_rule_figures("measured", "What a protection rule holds against its limit,"),
    *_rule_figures("guard_band", "Expanded uncertainty (k = 2) of a protection rule at its limit,"),
    Series(
        "holdwatch_rule_response_seconds",
        "seconds",
        "From a rule's limit passed to the circuit open, at worst (failed_to_open: to the alarm). "
        "Absent where the current decides.",
        _each(lambda r: r.response_s),
        ("rule",),
    ),
    Series(
        "holdwatch_rule_highest_cell_volts",
        "volts",
        "Voltage that a cell reaches at most until a protection rule has opened the circuit.",
        _each(lambda r: r.highest_v),
        ("rule",),
    ),
)
