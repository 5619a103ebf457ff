"""Prometheus metrics, read from the status file at the moment of the scrape.

``SERIES`` is the one list of names: emitted from, and documented from. Stale data give no values
at all, only ``holdwatch_up`` 0 and the age: a frozen number would look like a live one.
"""

from collections.abc import Callable, Iterator
from datetime import datetime

from prometheus_client import CollectorRegistry
from prometheus_client.core import GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.exposition import choose_encoder
from prometheus_client.registry import Collector

import supervisor
from supervisor.snapshot import LATE_UP_TO_S, ChannelView, Circuit, Counters, Snapshot
from supervisor.status.guidance_series import GUIDANCE_SERIES
from supervisor.status.journal_series import JOURNAL_SERIES
from supervisor.status.rule_series import RULE_SERIES
from supervisor.status.series import Histogram, Samples, Series, one, one_of, states
from supervisor.status.status_file import Status, present_celsius

CELLS = {"front_cell": "front", "far_cell": "far"}


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
    name, words = BUILD
    version = {"version": supervisor.__version__}
    yield InfoMetricFamily(name.removesuffix("_info"), words, value=version)
    yield GaugeMetricFamily(*UP, value=float(status.fresh))
    if status.age_s is not None:
        yield GaugeMetricFamily(*AGE, value=status.age_s, unit="seconds")


OPENMETRICS = "application/openmetrics-text"


def exposition(registry: CollectorRegistry, accept: str) -> tuple[bytes, str]:
    """The text and its content type: OpenMetrics 1.0 for who accepts it, else the text format.

    Only the name counts in ``accept``: the encoders' own parser raises at a version that is none.
    """
    asked = f"{OPENMETRICS}; version=1.0.0" if OPENMETRICS in accept else ""
    encode, content_type = choose_encoder(asked)
    return encode(registry), content_type


def metric_reference() -> str:
    """Table of all metrics, as Markdown."""
    rows = [
        "| Metric | Type | Unit | Labels | Meaning |",
        "|---|---|---|---|---|",
        f"| `{UP[0]}` | gauge | 0 or 1 | | {UP[1]} |",
        f"| `{AGE[0]}` | gauge | seconds | | {AGE[1]} |",
        f"| `{BUILD[0]}` | info | 1 | `version` | {BUILD[1]} |",
    ]
    for s in SERIES:
        labels = ", ".join(f"`{label}`" for label in s.labels)
        rows.append(f"| `{s.name}` | {s.kind} | {s.unit} | {labels} | {s.help} |")
    rows.append("")
    rows.append(f"Without fresh data only `{UP[0]}`, `{AGE[0]}` and `{BUILD[0]}` are present.")
    return "\n".join(rows) + "\n"


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
        return one(value(channel) if channel else None)

    return samples


def _started(snapshot: Snapshot) -> Samples:
    """Absent when the text is no date with a zone: the file comes from another process."""
    try:
        at = datetime.fromisoformat(snapshot.started_wall)
    except ValueError:
        return ()
    return one(at.timestamp() if at.tzinfo else None)


def _temperatures(snapshot: Snapshot) -> Samples:
    for probe in snapshot.probes:
        celsius = present_celsius(probe)
        if celsius is not None:
            yield (probe.probe, probe.place), celsius


def _counter(name: str, what: str, total: Callable[[Counters], int]) -> Series:
    return Series(
        f"holdwatch_{name}_total",
        "1",
        f"{what} since the supervisor started.",
        lambda s: one(total(s.counters)),
        kind="counter",
    )


def _bus_errors(snapshot: Snapshot) -> Samples:
    counters = snapshot.counters
    known = {"no_answer": counters.bus_no_answers, "timeout": counters.bus_timeouts}
    other = max(0, counters.bus_errors - sum(known.values()))
    return (((kind,), total) for kind, total in (known | {"other": other}).items())


SERIES: tuple[Series | Histogram, ...] = (
    Series(
        "holdwatch_supervisor_info",
        "1",
        "The bank that is watched, and the supervisor's version; always 1.",
        lambda s: [((s.bank, s.version), 1)],
        ("bank", "version"),
        kind="info",
    ),
    Series(
        "holdwatch_start_time_seconds",
        "seconds",
        "When the supervisor started, since the epoch, by the wall clock.",
        _started,
    ),
    Series(
        "holdwatch_simulated",
        "0 or 1",
        "1 when the bank is simulated.",
        lambda s: one(s.simulated),
    ),
    Series(
        "holdwatch_uncommissioned",
        "0 or 1",
        "1 when the build runs without a commissioning record.",
        lambda s: one(s.uncommissioned is not None),
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
        lambda s: one(s.never_above_v),
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
        "holdwatch_channel_age_seconds",
        "seconds",
        "Time since the channel was read last, when the status was published.",
        lambda s: (((c.channel,), c.age_s) for c in s.channels),
        ("channel",),
    ),
    Series(
        "holdwatch_temperature_celsius",
        "celsius",
        "Temperature of a probe; absent while it gives none that may be believed.",
        _temperatures,
        ("probe", "place"),
    ),
    Series(
        "holdwatch_probe_good",
        "0 or 1",
        "1 while the temperature probe gives a value that may be believed.",
        lambda s: (((p.probe, p.place), float(present_celsius(p) is not None)) for p in s.probes),
        ("probe", "place"),
    ),
    Series(
        "holdwatch_probe_age_seconds",
        "seconds",
        "Time since the temperature probe was read last, when the status was published.",
        lambda s: (((p.probe, p.place), p.age_s) for p in s.probes),
        ("probe", "place"),
    ),
    states(
        "holdwatch_circuit_state",
        "State of the charging circuit",
        lambda s: one_of((c.value for c in Circuit), s.circuit),
    ),
    Series(
        "holdwatch_coil_on",
        "0 or 1",
        "1 while the contactor's coil is told to hold.",
        lambda s: one(s.coil_on),
    ),
    Series(
        "holdwatch_auxiliary_closed",
        "0 or 1",
        "1 when the auxiliary contact says that the contactor is closed; absent if not fitted.",
        lambda s: one(s.auxiliary_closed),
    ),
    Series(
        "holdwatch_lease_left_seconds",
        "seconds",
        "How long the permission to be closed would last without being renewed.",
        lambda s: one(s.lease_left_s),
    ),
    Series(
        "holdwatch_profile_info",
        "1",
        "What the settings in force are called; always 1.",
        lambda s: [((s.profile,), 1)],
        ("profile",),
        kind="info",
    ),
    Series(
        "holdwatch_contactor_closings_total",
        "1",
        "Closings of the contactor over its life.",
        lambda s: one(s.operations),
        kind="counter",
    ),
    Series(
        "holdwatch_contactor_rated_closings",
        "1",
        "Closings that the contactor's maker rates it for; absent if not in the settings.",
        lambda s: one(s.rated_operations),
    ),
    Series(
        "holdwatch_buzzer_silent_seconds",
        "seconds",
        "How long the buzzer stays silent yet, alarms included; 0 when it may sound.",
        lambda s: one(s.silent_s),
    ),
    *GUIDANCE_SERIES,
    *JOURNAL_SERIES,
    *RULE_SERIES,
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
        lambda s: one(s.lockout is not None and s.lockout.failed_to_open),
    ),
    _counter("cycles", "Cycles of the loop", lambda c: c.cycles),
    _counter("conversions", "Conversions read from the converters", lambda c: c.conversions),
    _counter("bad_samples", "Conversions that gave no believable value", lambda c: c.bad_samples),
    Series(
        "holdwatch_bus_errors_total",
        "1",
        "Errors on the I2C bus since the supervisor started.",
        _bus_errors,
        ("kind",),
        kind="counter",
    ),
    _counter("bus_retries", "Transfers on the I2C bus that were repeated", lambda c: c.retries),
    _counter("bus_reopenings", "Times the I2C bus was opened anew", lambda c: c.reopenings),
    _counter("deadline_misses", "Cycles that began too late", lambda c: c.deadline_misses),
    _counter("requests", "Requests to close, open, reset or tell", lambda c: c.requests),
    Histogram(
        "holdwatch_cycle_lateness_seconds",
        "seconds",
        "How late the cycles of the loop have begun since the supervisor started.",
        LATE_UP_TO_S,
        lambda s: (s.counters.late_cycles, s.counters.late_sum_s),
    ),
    Series(
        "holdwatch_worst_lateness_seconds",
        "seconds",
        "The latest that a cycle has begun since the supervisor started.",
        lambda s: one(s.counters.worst_late_s),
    ),
)
