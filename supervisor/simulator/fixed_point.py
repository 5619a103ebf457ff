"""Where a repeated step no longer moves anything, found sooner than by repeating it."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MEMORY = 3


class Anderson:
    """For many small systems at once: first axis the state, last axis the systems.

    D. G. Anderson, Iterative procedures for nonlinear integral equations, J. ACM 12 (1965): the
    next start is where the moves seen so far, taken as linear, cancel.
    """

    def __init__(self) -> None:
        self._starts: list[Floats] = []
        self._moves: list[Floats] = []

    def better(self, start: Floats, end: Floats) -> Floats:
        """A better start than the end of the step that began at ``start``."""
        move = end - start
        self._starts = [*self._starts[-MEMORY:], start]
        self._moves = [*self._moves[-MEMORY:], move]
        if len(self._moves) == 1:
            return end
        moved = np.diff(np.stack(self._moves), axis=0)
        begun = np.diff(np.stack(self._starts), axis=0)
        shares = _least_squares(moved, move)
        better: Floats = end - ((begun + moved) * shares[:, None]).sum(axis=0)
        return better


def _least_squares(columns: Floats, target: Floats) -> Floats:
    """Shares of the columns that come nearest to the target, for each system."""
    size = np.sqrt((columns**2).sum(axis=1)) + 1e-30
    columns = columns / size[:, None]
    products = np.einsum("isn,jsn->nij", columns, columns)
    products += 1e-9 * np.eye(len(columns))
    aims = np.einsum("isn,sn->ni", columns, target)
    shares = np.linalg.solve(products, aims[..., None])[..., 0].T
    result: Floats = shares / size
    return result
