"""The cells: state of charge and slow polarisation of each group along the bars."""

import math

from supervisor.settings.model import Bank as BankSettings
from supervisor.simulator.ladder import Ladder
from supervisor.simulator.open_circuit import OpenCircuitCurve
from supervisor.simulator.parts.cells import CellsSettings

SECONDS_PER_HOUR = 3600


class Bank:
    """Groups of cells in parallel; each an open-circuit curve, a resistance and one RC pair."""

    def __init__(self, settings: CellsSettings, rating: BankSettings) -> None:
        n = settings.groups
        cells = rating.cells_in_parallel / n
        offsets = _per_group(settings.state_of_charge_offsets, n, 0.0)
        factors = _per_group(settings.capacity_factors, n, 1.0)
        self.socs = [settings.state_of_charge + offset for offset in offsets]
        self.capacities_ah = [cells * rating.cell_ampere_hours * factor for factor in factors]
        self._rung_ohm = settings.resistance_milliohms / 1000 / cells
        self._slow_ohm = settings.relaxation_milliohms / 1000 / cells
        self._slow_s = settings.relaxation_seconds
        self._slow_v = [0.0] * n
        self._link_ohm = settings.link_milliohms / 1000
        self._links_ohm: list[float | None] = [self._link_ohm] * (n - 1)
        self._curve = OpenCircuitCurve()
        self._rewire()
        self._look_up()
        self.volts, self.amperes = self.ladder.solve(self.emfs_v, 0.0)

    @property
    def groups(self) -> int:
        return len(self.socs)

    @property
    def soc(self) -> float:
        """Of the whole bank, by capacity."""
        pairs = zip(self.socs, self.capacities_ah, strict=True)
        return sum(s * c for s, c in pairs) / sum(self.capacities_ah)

    def open_link(self, behind: int) -> None:
        """The link behind this group (1 is the front) opens: the rest is cut off from the feed."""
        if not 1 <= behind < self.groups:
            raise ValueError(
                f"no link behind group {behind}: {self.groups} groups have links "
                f"behind 1 to {self.groups - 1}"
            )
        self._links_ohm[behind - 1] = None
        self._rewire()

    def close_links(self) -> None:
        self._links_ohm = [self._link_ohm] * (self.groups - 1)
        self._rewire()

    def feed(self, feed_a: float) -> None:
        """From now on this current is fed; solves the ladder."""
        self.volts, self.amperes = self.ladder.solve(self.emfs_v, feed_a)

    def pass_time(self, span_s: float) -> None:
        """The present currents flow for so long; the polarisation is integrated exactly."""
        kept = math.exp(-span_s / self._slow_s)
        built = self._slow_ohm * (1 - kept)
        hours = span_s / SECONDS_PER_HOUR
        for k, amperes in enumerate(self.amperes):
            self.socs[k] += amperes * hours / self.capacities_ah[k]
            self._slow_v[k] = self._slow_v[k] * kept + amperes * built
        self._look_up()

    def fastest_v_per_s(self) -> float:
        """How fast the quickest group's EMF moves at the present currents."""
        return max(
            abs(
                amperes * slope / (capacity_ah * SECONDS_PER_HOUR)
                + (amperes * self._slow_ohm - slow_v) / self._slow_s
            )
            for amperes, slope, capacity_ah, slow_v in zip(
                self.amperes, self._slopes, self.capacities_ah, self._slow_v, strict=True
            )
        )

    def _rewire(self) -> None:
        self.ladder = Ladder([self._rung_ohm] * self.groups, self._links_ohm)

    def _look_up(self) -> None:
        self.emfs_v, self._slopes = [], []
        for soc, slow_v in zip(self.socs, self._slow_v, strict=True):
            volts, slope = self._curve.at(soc)
            self.emfs_v.append(volts + slow_v)
            self._slopes.append(slope)


def _per_group(values: tuple[float, ...], groups: int, otherwise: float) -> list[float]:
    return [*values, *[otherwise] * (groups - len(values))]
