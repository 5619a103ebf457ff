"""Prometheus metrics, read from the status file at the moment of the scrape.

``SERIES`` is the one list of names: emitted from, and documented from. Stale data give no values
at all, only ``holdwatch_up`` 0 and the age: a frozen number would look like a live one.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

import supervisor
from supervisor.snapshot import ChannelView, Circuit, Counters, Snapshot
from supervisor.status.status_file import Status
from supervisor.status.wellformed import RULE_STATES

Samples = Iterable[tuple[tuple[str, ...], float]]

CELLS = {"front_cell": "front", "far_cell": "far"}
# Unit of a rule's limit: ending of the metric's name, base units per unit.
RULE_UNITS = {
    "volts": {"V": 1.0, "mV": 1e-3},
    "amperes": {"A": 1.0},
    "volts_per_second": {"V/min": 1 / 60, "V/s": 1.0},
    "seconds": {"s": 1.0, "ms": 1e-3},
}


@dataclass(frozen=True)
class Series:
    """One metric: how it is named and documented, and its labels and values in a snapshot.

    Of two samples with the same labels the first counts.
    """

    name: str
    unit: str
    help: str
    samples: Callable[[Snapshot], Samples]
    labels: tuple[str, ...] = ()
    kind: Literal["gauge", "counter"] = "gauge"

    def family(self, snapshot: Snapshot) -> Metric:
        make = GaugeMetricFamily if self.kind == "gauge" else CounterMetricFamily
        family = make(self.name, self.help, labels=self.labels)
        distinct: dict[tuple[str, ...], float] = {}
        for labels, value in self.samples(snapshot):
            distinct.setdefault(labels, value)
        for labels, value in distinct.items():
            family.add_metric(labels, value)
        return family


class StatusCollector(Collector):
    """Looks at the status anew for every scrape; keeps nothing between scrapes."""

    def __init__(self, look: Callable[[], Status]) -> None:
        self._look = look

    def collect(self) -> Iterator[Metric]:
        status = self._look()
        yield from about_the_data(status)
        if status.snapshot and status.fresh:
            for series in SERIES:
                yield series.family(status.snapshot)


UP = ("holdwatch_up", "1 while the supervisor publishes fresh data, 0 when it does not.")
AGE = ("holdwatch_snapshot_age_seconds", "Time since the supervisor published its status.")
BUILD = ("holdwatch_build_info", "Version of the process that serves this text; always 1.")


def about_the_data(status: Status) -> Iterator[Metric]:
    """The metrics that remain when there are no fresh data."""
    build = GaugeMetricFamily(*BUILD, labels=("version",))
    build.add_metric((supervisor.__version__,), 1)
    yield build
    yield GaugeMetricFamily(*UP, value=float(status.fresh))
    if status.age_s is not None:
        yield GaugeMetricFamily(*AGE, value=status.age_s)


def metric_reference() -> str:
    """Table of all metrics, as Markdown."""
    rows = [
        "| Metric | Type | Unit | Labels | Meaning |",
        "|---|---|---|---|---|",
        f"| `{UP[0]}` | gauge | 0 or 1 | | {UP[1]} |",
        f"| `{AGE[0]}` | gauge | seconds | | {AGE[1]} |",
        f"| `{BUILD[0]}` | gauge | 1 | `version` | {BUILD[1]} |",
    ]
    for s in SERIES:
        labels = ", ".join(f"`{label}`" for label in s.labels)
        rows.append(f"| `{s.name}` | {s.kind} | {s.unit} | {labels} | {s.help} |")
    rows.append("")
    rows.append(f"Without fresh data only `{UP[0]}`, `{AGE[0]}` and `{BUILD[0]}` are present.")
    return "\n".join(rows) + "\n"


def _one(value: float | None) -> Samples:
    return () if value is None else (((), value),)


def _set(values: Iterable[str], present: str | None) -> Samples:
    return (((value,), float(value == present)) for value in values)


def _cells(value: Callable[[ChannelView], float | None]) -> Callable[[Snapshot], Samples]:
    def samples(snapshot: Snapshot) -> Samples:
        for name, position in CELLS.items():
            channel = snapshot.channel(name)
            number = value(channel) if channel else None
            if number is not None:
                yield (position,), number

    return samples


def _shunt(value: Callable[[ChannelView], float | None]) -> Callable[[Snapshot], Samples]:
    def samples(snapshot: Snapshot) -> Samples:
        channel = snapshot.channel("shunt")
        return _one(value(channel) if channel else None)

    return samples


def _rule_figures(figure: str, what: str) -> Iterator[Series]:
    for ending, units in RULE_UNITS.items():

        def samples(snapshot: Snapshot, units: dict[str, float] = units) -> Samples:
            for rule in snapshot.rules:
                value: float | None = getattr(rule, figure)
                if value is not None and rule.unit in units:
                    yield (rule.rule,), value * units[rule.unit]

        unit = ending.replace("_", " ")
        yield Series(
            f"holdwatch_rule_{figure}_{ending}", unit, f"{what} in {unit}.", samples, ("rule",)
        )


def _counter(name: str, what: str, total: Callable[[Counters], int]) -> Series:
    return Series(
        f"holdwatch_{name}_total",
        "1",
        f"{what} since the supervisor started.",
        lambda s: _one(total(s.counters)),
        kind="counter",
    )


SERIES: tuple[Series, ...] = (
    Series(
        "holdwatch_supervisor_info",
        "1",
        "The bank that is watched, and the supervisor's version; always 1.",
        lambda s: [((s.bank, s.version), 1)],
        ("bank", "version"),
    ),
    Series(
        "holdwatch_simulated",
        "0 or 1",
        "1 when the bank is simulated.",
        lambda s: _one(s.simulated),
    ),
    Series(
        "holdwatch_uncommissioned",
        "0 or 1",
        "1 when the build runs without a commissioning record.",
        lambda s: _one(s.uncommissioned is not None),
    ),
    Series(
        "holdwatch_cell_volts",
        "volts",
        "Cell voltage, mean of the newest mains window.",
        _cells(lambda c: c.value),
        ("position",),
    ),
    Series(
        "holdwatch_cell_uncertainty_volts",
        "volts",
        "Expanded uncertainty (k = 2) of the cell voltage.",
        _cells(lambda c: None if c.value is None else c.uncertainty),
        ("position",),
    ),
    Series(
        "holdwatch_cell_never_above_volts",
        "volts",
        "The cell maker's absolute maximum.",
        lambda s: _one(s.never_above_v),
    ),
    Series(
        "holdwatch_current_amperes",
        "amperes",
        "Current into the bank, mean of the newest mains window.",
        _shunt(lambda c: c.value),
    ),
    Series(
        "holdwatch_current_uncertainty_amperes",
        "amperes",
        "Expanded uncertainty (k = 2) of the current.",
        _shunt(lambda c: None if c.value is None else c.uncertainty),
    ),
    Series(
        "holdwatch_channel_good",
        "0 or 1",
        "1 while the channel gives a value that may be believed.",
        lambda s: (((c.channel,), float(c.value is not None)) for c in s.channels),
        ("channel",),
    ),
    Series(
        "holdwatch_circuit_state",
        "0 or 1",
        "State of the charging circuit: 1 for the present one.",
        lambda s: _set((c.value for c in Circuit), s.circuit),
        ("state",),
    ),
    Series(
        "holdwatch_coil_on",
        "0 or 1",
        "1 while the contactor's coil is told to hold.",
        lambda s: _one(s.coil_on),
    ),
    Series(
        "holdwatch_auxiliary_closed",
        "0 or 1",
        "1 when the auxiliary contact says that the contactor is closed; absent if not fitted.",
        lambda s: _one(s.auxiliary_closed),
    ),
    Series(
        "holdwatch_lease_left_seconds",
        "seconds",
        "How long the permission to be closed would last without being renewed.",
        lambda s: _one(s.lease_left_s),
    ),
    Series(
        "holdwatch_rule_state",
        "0 or 1",
        "State of each protection rule: 1 for the present one.",
        lambda s: (
            ((rule.rule, *state), value)
            for rule in s.rules
            for state, value in _set(RULE_STATES, rule.state)
        ),
        ("rule", "state"),
    ),
    *_rule_figures("limit", "Limit of a protection rule that is set"),
    *_rule_figures("measured", "What a protection rule holds against its limit,"),
    Series(
        "holdwatch_lockout",
        "1",
        "1 while a lockout stands, by the rule that tripped; absent without one.",
        lambda s: [((s.lockout.tripped_by,), 1)] if s.lockout else [],
        ("tripped_by",),
    ),
    Series(
        "holdwatch_failed_to_open",
        "0 or 1",
        "1 when the lockout found the circuit still closed after the coil was dropped.",
        lambda s: _one(s.lockout is not None and s.lockout.failed_to_open),
    ),
    _counter("cycles", "Cycles of the loop", lambda c: c.cycles),
    _counter("conversions", "Conversions read from the converters", lambda c: c.conversions),
    _counter("bad_samples", "Conversions that gave no believable value", lambda c: c.bad_samples),
    _counter("bus_errors", "Errors on the I2C bus", lambda c: c.bus_errors),
    _counter("bus_retries", "Transfers on the I2C bus that were repeated", lambda c: c.retries),
    _counter("bus_reopenings", "Times the I2C bus was opened anew", lambda c: c.reopenings),
    _counter("deadline_misses", "Cycles that began too late", lambda c: c.deadline_misses),
    _counter("requests", "Requests to close, open, reset or tell", lambda c: c.requests),
    Series(
        "holdwatch_worst_lateness_seconds",
        "seconds",
        "The latest that a cycle has begun since the supervisor started.",
        lambda s: _one(s.counters.worst_late_s),
    ),
)
