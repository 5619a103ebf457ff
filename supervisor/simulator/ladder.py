"""The resistive ladder of a parallel bank: cells as rungs, bar links as rails, fed at the front."""

from collections.abc import Sequence


class Ladder:
    """Groups with EMF and resistance in parallel, joined in a row by links.

    Node equations are tridiagonal; they are factored once and solved exactly. A link of None is
    open.
    """

    def __init__(self, rungs_ohm: Sequence[float], links_ohm: Sequence[float | None]) -> None:
        if len(links_ohm) != len(rungs_ohm) - 1:
            raise ValueError(f"{len(rungs_ohm)} groups need {len(rungs_ohm) - 1} links")
        self._rungs_s = [1 / ohm for ohm in rungs_ohm]
        self._links_s = [0.0 if ohm is None else 1 / ohm for ohm in links_ohm]
        self._factor()
        self.volts_per_ampere = self._solve([1.0] + [0.0] * (len(rungs_ohm) - 1))
        """Rise of each group's voltage by one ampere fed at the front (ohm)."""

    def solve(self, emfs_v: Sequence[float], feed_a: float) -> tuple[list[float], list[float]]:
        """Voltage of each group, and current into each."""
        volts = self.at_rest(emfs_v)
        if feed_a:
            volts = [v + feed_a * ohm for v, ohm in zip(volts, self.volts_per_ampere, strict=True)]
        amperes = [(v - emf) * s for v, emf, s in zip(volts, emfs_v, self._rungs_s, strict=True)]
        return volts, amperes

    def at_rest(self, emfs_v: Sequence[float]) -> list[float]:
        """Voltage of each group with nothing fed: equalising currents only."""
        return self._solve([emf * s for emf, s in zip(emfs_v, self._rungs_s, strict=True)])

    def _factor(self) -> None:
        """Thomas algorithm, forward half."""
        links = [0.0, *self._links_s, 0.0]
        self._pivots: list[float] = []
        self._ratios: list[float] = []
        ratio = 0.0
        for k, rung in enumerate(self._rungs_s):
            pivot = rung + links[k] + links[k + 1] - links[k] * ratio
            ratio = links[k + 1] / pivot
            self._pivots.append(pivot)
            self._ratios.append(ratio)

    def _solve(self, injected_a: list[float]) -> list[float]:
        volts: list[float] = []
        above = 0.0
        links = [0.0, *self._links_s]
        for current, pivot, link in zip(injected_a, self._pivots, links, strict=True):
            above = (current + link * above) / pivot
            volts.append(above)
        for k in range(len(volts) - 2, -1, -1):
            volts[k] += self._ratios[k] * volts[k + 1]
        return volts
