"""One metric: its name and words, and its values in a snapshot.

Names by "Metric and label naming" and "Writing exporters" (prometheus.io); kinds, units and the
label of a state set by OpenMetrics 1.0. In the older text format an info and a state set are told
as gauges, with the same names and labels.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Literal

from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    HistogramMetricFamily,
    InfoMetricFamily,
    Metric,
    StateSetMetricFamily,
)

from supervisor.snapshot import Snapshot

Samples = Iterable[tuple[tuple[str, ...], float]]
Kind = Literal["gauge", "counter", "info", "stateset"]
NO_UNITS = ("1", "0 or 1")


@dataclass(frozen=True)
class Series:
    """One metric: how it is named and documented, and its labels and values in a snapshot.

    Of two samples with the same labels the first counts. The last label of a state set is its own
    name.
    """

    name: str
    unit: str
    help: str
    samples: Callable[[Snapshot], Samples]
    labels: tuple[str, ...] = ()
    kind: Kind = "gauge"

    def family(self, snapshot: Snapshot) -> Metric:
        distinct: dict[tuple[str, ...], float] = {}
        for labels, value in self.samples(snapshot):
            distinct.setdefault(labels, value)
        return FAMILIES[self.kind](self, distinct)

    @property
    def base_unit(self) -> str:
        """As the name ends in it; empty without a dimension."""
        return "" if self.unit in NO_UNITS else self.unit.replace(" ", "_")


@dataclass(frozen=True)
class Histogram:
    """One metric that counts in classes: ``counts`` gives how many are in each, and their sum.

    ``up_to`` are the classes' upper ends; one more is beyond. Absent when the numbers do not fit.
    """

    name: str
    unit: str
    help: str
    up_to: tuple[float, ...]
    counts: Callable[[Snapshot], tuple[Sequence[int], float]]
    labels: tuple[str, ...] = ("le",)
    kind: Literal["histogram"] = "histogram"

    def family(self, snapshot: Snapshot) -> Metric:
        family = HistogramMetricFamily(self.name, self.help, labels=(), unit=self.unit)
        counts, total = self.counts(snapshot)
        if len(counts) == len(self.up_to) + 1:
            ends = [*(str(end) for end in self.up_to), "+Inf"]
            family.add_metric((), list(zip(ends, accumulate(counts), strict=True)), total)
        return family

    @property
    def base_unit(self) -> str:
        return self.unit


def states(
    name: str, what: str, samples: Callable[[Snapshot], Samples], labels: tuple[str, ...] = ()
) -> Series:
    """A state set: 1 for the present one."""
    told = f"{what}: 1 for the present one."
    return Series(name, "0 or 1", told, samples, (*labels, name), kind="stateset")


def one(value: float | None) -> Samples:
    return () if value is None else (((), value),)


def one_of(values: Iterable[str], present: str | None) -> Samples:
    return (((value,), float(value == present)) for value in values)


Values = Mapping[tuple[str, ...], float]


def _gauge(series: Series, values: Values) -> Metric:
    unit = series.base_unit
    family = GaugeMetricFamily(series.name, series.help, labels=series.labels, unit=unit)
    for labels, value in values.items():
        family.add_metric(labels, value)
    return family


def _counter(series: Series, values: Values) -> Metric:
    unit = series.base_unit
    family = CounterMetricFamily(series.name, series.help, labels=series.labels, unit=unit)
    for labels, value in values.items():
        family.add_metric(labels, value)
    return family


def _info(series: Series, values: Values) -> Metric:
    family = InfoMetricFamily(series.name.removesuffix("_info"), series.help, labels=())
    for labels in values:
        family.add_metric((), dict(zip(series.labels, labels, strict=True)))
    return family


def _stateset(series: Series, values: Values) -> Metric:
    *others, _ = series.labels
    family = StateSetMetricFamily(series.name, series.help, labels=others)
    for (*labels, state), value in values.items():
        family.add_metric(labels, {state: bool(value)})
    return family


FAMILIES: dict[Kind, Callable[[Series, Values], Metric]] = {
    "gauge": _gauge,
    "counter": _counter,
    "info": _info,
    "stateset": _stateset,
}
