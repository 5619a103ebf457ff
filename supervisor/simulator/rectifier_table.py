"""What the rectifier gives at any operating point, from its circuit solved on a grid.

Three coordinates in which the surface is nearly plain: how far the peak of the half-winding is
above the EMF, bent so that the onset of conduction gets most nodes (cubic, monotone); the EMF
(linear); the resistance from capacitor to EMF, as a logarithm (linear). Tiles of the grid are
solved when they are first asked for, or beforehand where nobody can wait.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np

from supervisor.simulator.fixed_point import Floats
from supervisor.simulator.output import NOTHING, Output
from supervisor.simulator.rectifier_circuit import RectifierCircuit

EMF_STEP_V = 0.25
EMFS_IN_TILE = 4
BEND_STEP = 0.08
BENDS_IN_TILE = 64
LOG_OHM_STEP = 0.1
BEND_WIDTH = 5.0  # of the onset, in N VT
FIRST_BEND = -math.asinh(12 / BEND_WIDTH)  # 12 N VT below the onset nothing worth a number flows

Cubic = tuple[float, float, float, float]
Cell = tuple[Cubic, ...]
Tile = list[list[Cell]]


@lru_cache(maxsize=32)
def table_of(circuit: RectifierCircuit) -> "RectifierTable":
    """One table for all plants with the same supply."""
    return RectifierTable(circuit)


class RectifierTable:
    """Grows with use; whatever was asked before, the answers are the same."""

    def __init__(self, circuit: RectifierCircuit) -> None:
        self._circuit = circuit
        self._tiles: dict[tuple[int, int, int], Tile] = {}
        self._onset_v = circuit.emission_v * math.log1p(1 / circuit.saturation_a)
        self._width_v = BEND_WIDTH * circuit.emission_v

    def __deepcopy__(self, _memo: object) -> "RectifierTable":
        return self

    def output(self, half_v: float, emf_v: float, bank_ohm: float) -> Output:
        """Half the secondary's effective volts, into a bank of this EMF and resistance."""
        bend = self._bend(half_v, emf_v)
        if bend <= FIRST_BEND:
            return NOTHING
        u, t = _split((bend - FIRST_BEND) / BEND_STEP)
        e, e_part = _split(emf_v / EMF_STEP_V)
        r, r_part = _split(self._log_ohm(bank_ohm) / LOG_OHM_STEP)
        less, more = self._column(r, e, u), self._column(r + 1, e, u)
        corners = zip(less[0], less[1], more[0], more[1], strict=True)
        w0, w1 = (1 - r_part) * (1 - e_part), (1 - r_part) * e_part
        w2, w3 = r_part * (1 - e_part), r_part * e_part
        return Output(
            *[
                w0 * (((a3 * t + a2) * t + a1) * t + a0)
                + w1 * (((b3 * t + b2) * t + b1) * t + b0)
                + w2 * (((c3 * t + c2) * t + c1) * t + c0)
                + w3 * (((d3 * t + d2) * t + d1) * t + d0)
                for (a0, a1, a2, a3), (b0, b1, b2, b3), (c0, c1, c2, c3), (
                    d0,
                    d1,
                    d2,
                    d3,
                ) in corners
            ]
        )

    def prepare(self, half_v: float, emfs_v: tuple[float, float], bank_ohm: float) -> None:
        """Solve now what may be asked for: up to these volts and ohms, between these EMFs."""
        bends = _split((self._bend(half_v, min(emfs_v)) - FIRST_BEND) / BEND_STEP)[0] + 1
        columns = _split(self._log_ohm(bank_ohm) / LOG_OHM_STEP)[0] + 2
        first_e, last_e = (_split(emf_v / EMF_STEP_V)[0] // EMFS_IN_TILE for emf_v in emfs_v)
        for r in range(columns):
            for e_tile in range(first_e, last_e + 1):
                for u_tile in range(math.ceil(bends / BENDS_IN_TILE)):
                    self._tile((r, e_tile, u_tile))

    def _bend(self, half_v: float, emf_v: float) -> float:
        drive_v = math.sqrt(2) * half_v - emf_v
        return math.asinh((drive_v - self._onset_v) / self._width_v)

    def _log_ohm(self, bank_ohm: float) -> float:
        return math.log1p(bank_ohm / self._circuit.output_ohm)

    def _column(self, r: int, e: int, u: int) -> tuple[Cell, Cell]:
        """The cells at this resistance and bend, for the EMF below and the one above."""
        e_tile, e_in = divmod(e, EMFS_IN_TILE)
        u_tile, u_in = divmod(u, BENDS_IN_TILE)
        tile = self._tile((r, e_tile, u_tile))
        return tile[e_in][u_in], tile[e_in + 1][u_in]

    def _tile(self, key: tuple[int, int, int]) -> Tile:
        tile = self._tiles.get(key)
        if tile is None:
            tile = self._tiles[key] = self._solve(*key)
        return tile

    def _solve(self, r: int, e_tile: int, u_tile: int) -> Tile:
        """Always the same points together, so always the same digits."""
        emfs_v = EMF_STEP_V * (e_tile * EMFS_IN_TILE + np.arange(EMFS_IN_TILE + 1))
        nodes = u_tile * BENDS_IN_TILE + np.arange(-1, BENDS_IN_TILE + 2)
        bends = FIRST_BEND + BEND_STEP * nodes
        drives_v = self._onset_v + self._width_v * np.sinh(bends)
        emf_v, drive_v = (grid.ravel() for grid in np.meshgrid(emfs_v, drives_v, indexing="ij"))
        half_v = np.maximum(emf_v + drive_v, 0.0) / math.sqrt(2)
        bank_ohm = np.full_like(emf_v, self._circuit.output_ohm * math.expm1(r * LOG_OHM_STEP))
        rows = self._circuit.steady(half_v, emf_v, bank_ohm).summary()
        values = rows.reshape(len(rows), len(emfs_v), len(nodes))
        return [_cells(values[:, k]) for k in range(len(emfs_v))]


def _split(place: float) -> tuple[int, float]:
    whole = math.floor(place)
    return whole, place - whole


def _cells(rows: Floats) -> list[Cell]:
    """Cubics between nodes, of each row; the first and the last node only serve the slopes."""
    cubics = [list(_cubics(row.tolist())) for row in rows]
    return list(zip(*cubics, strict=True))


def _cubics(nodes: Sequence[float]) -> list[Cubic]:
    """Hermite cubics with central slopes, limited so that they rise where the nodes rise.

    F. N. Fritsch, R. E. Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer. Anal. 17
    (1980): within three times either neighbour's slope is enough.
    """
    rises = [b - a for a, b in pairwise(nodes)]
    slopes = [_limited(before, after) for before, after in pairwise(rises)]
    return [
        (at, m, 3 * rise - 2 * m - n, m + n - 2 * rise)
        for at, rise, (m, n) in zip(nodes[1:-2], rises[1:-1], pairwise(slopes), strict=True)
    ]


def _limited(before: float, after: float) -> float:
    if before * after <= 0:
        return 0.0
    most = 3 * min(abs(before), abs(after))
    return max(-most, min((before + after) / 2, most))
