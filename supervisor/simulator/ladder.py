"""The resistive ladder of a parallel bank: cells as rungs between two rails, and a feed."""

from collections.abc import Sequence
from typing import Literal

import numpy as np

from supervisor.simulator.open_circuit import Floats

Feed = Literal["one_end", "both_ends", "diagonal"]

OPEN_OHM = float("inf")
DEFAULT_LEAD_OHM = 0.5e-3


class Ladder:
    """Cells with EMF and resistance in parallel, solved exactly.

    Links are given from the feed on, one between each two neighbours, of the positive and the
    negative rail; ``OPEN_OHM`` anywhere is an open one. A ``leak`` is a resistance across a cell.
    The nodes' matrix is inverted once; each part that is cut off is a circuit of its own. A feed
    at both ends has a lead of ``lead_ohm`` to each end of each rail.
    """

    def __init__(
        self,
        rungs_ohm: Sequence[float] | Floats,
        plus_ohm: Sequence[float] | Floats,
        minus_ohm: Sequence[float] | Floats,
        feed: Feed = "one_end",
        *,
        leaks_ohm: Sequence[float] | Floats | None = None,
        lead_ohm: float = DEFAULT_LEAD_OHM,
    ) -> None:
        n = len(rungs_ohm)
        if not len(plus_ohm) == len(minus_ohm) == n - 1:
            raise ValueError(f"{n} cells need {n - 1} links in each rail")
        rungs = [(k, n + k) for k in range(n)]
        branches = [*rungs, *rungs]
        branches += [(k, k + 1) for k in range(n - 1)]
        branches += [(n + k, n + k + 1) for k in range(n - 1)]
        leaks = np.full(n, OPEN_OHM) if leaks_ohm is None else leaks_ohm
        ohms = [*rungs_ohm, *leaks, *plus_ohm, *minus_ohm]
        terminals = (0, n) if feed == "one_end" else (0, 2 * n - 1)
        if feed == "both_ends":
            terminals = (2 * n, 2 * n + 1)
            branches += [(2 * n, 0), (2 * n, n - 1), (2 * n + 1, n), (2 * n + 1, 2 * n - 1)]
            ohms += [lead_ohm] * 4
        self._invert(branches, 1 / np.array(ohms, dtype=float), terminals, n)

    @property
    def fed(self) -> bool:
        """Whether any way leads from the feed through the bank."""
        return self.feed_ohm < OPEN_OHM

    def solve(self, emfs_v: Floats, feed_a: float) -> tuple[Floats, Floats]:
        """Voltage of each cell, and current into each."""
        volts = self._at_rest @ emfs_v + self.volts_per_ampere * feed_a
        return volts, self._rungs_s * (volts - emfs_v)

    def rest_v(self, emfs_v: Floats) -> float:
        """Between the terminals of the feed with nothing fed; with ``feed_ohm`` all it feels."""
        return float(self.shares @ emfs_v)

    def _invert(
        self, branches: list[tuple[int, int]], siemens: Floats, terminals: tuple[int, int], n: int
    ) -> None:
        ends = _incidence(branches, 1 + max(max(pair) for pair in branches))
        nodes = ends.T @ (siemens[:, None] * ends)
        parts = _parts(branches, siemens, len(nodes))
        for k in set(parts):
            nodes[k, k] += siemens.max() or 1.0  # grounded at one node: nothing flows there
        inverse = np.linalg.inv(nodes)
        across, self._rungs_s = ends[:n], siemens[:n]
        self._at_rest: Floats = across @ inverse @ across.T * self._rungs_s
        self.volts_per_ampere: Floats = np.zeros(n)
        """Rise of each cell's voltage by one ampere fed (ohm)."""
        self.feed_ohm = OPEN_OHM
        """Rise of the terminals' voltage by one ampere fed."""
        if parts[terminals[0]] == parts[terminals[1]]:
            fed = _incidence([terminals], len(nodes))[0]
            self.volts_per_ampere = across @ inverse @ fed
            self.feed_ohm = float(fed @ inverse @ fed)
        self.shares: Floats = self._rungs_s * self.volts_per_ampere
        """Of one ampere fed, into each cell."""
        self.equalising_s: Floats = self._rungs_s[:, None] * (self._at_rest - np.eye(n))
        """Current into each cell by one volt more EMF in each."""


def _parts(branches: list[tuple[int, int]], siemens: Floats, nodes: int) -> list[int]:
    """For each node the lowest one that it is connected with."""
    lowest = list(range(nodes))

    def find(node: int) -> int:
        while lowest[node] != node:
            lowest[node] = lowest[lowest[node]]
            node = lowest[node]
        return node

    for (start, end), conductance in zip(branches, siemens.tolist(), strict=True):
        if conductance > 0:
            one, other = sorted((find(start), find(end)))
            lowest[other] = one
    return [find(node) for node in range(nodes)]


def _incidence(branches: list[tuple[int, int]], nodes: int) -> Floats:
    ends = np.zeros((len(branches), nodes))
    for row, (start, end) in enumerate(branches):
        ends[row, start] += 1
        ends[row, end] -= 1
    return ends
