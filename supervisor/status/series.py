"""One metric: its name and words, and its values in a snapshot."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric

from supervisor.snapshot import Snapshot

Samples = Iterable[tuple[tuple[str, ...], float]]


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


def one(value: float | None) -> Samples:
    return () if value is None else (((), value),)


def one_of(values: Iterable[str], present: str | None) -> Samples:
    return (((value,), float(value == present)) for value in values)
