"""The cells: state of charge and polarisation of each, and the currents between them."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from random import Random
from typing import Literal

import numpy as np

from supervisor.settings.model import Bank as BankSettings
from supervisor.simulator.chemistry import REFERENCE_C, load_chemistry
from supervisor.simulator.ladder import OPEN_OHM, Ladder
from supervisor.simulator.open_circuit import Floats
from supervisor.simulator.parts.cells import CellsSettings

SECONDS_PER_HOUR = 3600
MOST_SIGMAS = 3.0
REWIRE_K = 0.25
FULLEST, FINELY = 1.05, 1000  # where a curve is looked through for its steepest

Rail = Literal["plus", "minus"]
Feeding = Callable[[float, float], float]
"""Amperes into a bank that rests at so many volts, and rises by so many volts per ampere."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """Where the bank will be, if until then nothing happens to it."""

    feed_a: float
    socs: Floats
    fast_v: Floats
    slow_v: Floats
    rest_emfs_v: Floats
    slopes: Floats
    volts: Floats
    error_v: float
    """How far an EMF will leave the straight line that it sets out on."""


class Bank:
    """Cells in parallel; each an open-circuit curve, a resistance and two RC pairs.

    ``celsius`` may be set at any time and counts from the next solution on.
    """

    def __init__(self, settings: CellsSettings, rating: BankSettings, seed: int = 1) -> None:
        n = rating.cells_in_parallel
        chemistry = load_chemistry(settings.chemistry)
        draw = Random(f"{seed} cells")
        socs = _spread(draw, n, settings.state_of_charge, settings.state_of_charge_spread)
        capacities = _spread(draw, n, 1.0, settings.capacity_spread_percent / 100)
        resistances = _spread(draw, n, 1.0, settings.resistance_spread_percent / 100)
        self.socs = socs + _per_cell(settings, "state_of_charge_offsets", n, 0.0)
        self.capacities_ah = capacities * rating.cell_ampere_hours
        self.capacities_ah *= _per_cell(settings, "capacity_factors", n, 1.0)
        self._coulombs = self.capacities_ah * SECONDS_PER_HOUR
        self._settings, self._chemistry, self._curve = settings, chemistry, chemistry.curve()
        self._resistances = resistances
        self._fast_s, self._slow_s = settings.relaxation_seconds, settings.diffusion_seconds
        self._fast_v, self._slow_v = np.zeros(n), np.zeros(n)
        self._links_ohm = {rail: np.full(n - 1, settings.link_microohms / 1e6) for rail in RAILS}
        self._leaks_ohm = np.full(n, OPEN_OHM)
        self._dead = np.zeros(n, dtype=bool)
        self.celsius = REFERENCE_C
        self._rewire()
        self.feed(0.0)

    @property
    def soc(self) -> float:
        """Of the whole bank, by capacity."""
        return float(self.socs @ self.capacities_ah / self.capacities_ah.sum())

    # --- what may break

    def set_link(self, rail: Rail, behind: int, ohm: float | None = None) -> None:
        """The link behind this cell (1 is the front) becomes another; None: as it was."""
        if not 1 <= behind < len(self.socs):
            raise ValueError(
                f"no link behind cell {behind}: {len(self.socs)} cells have links "
                f"behind 1 to {len(self.socs) - 1}"
            )
        sound_ohm = self._settings.link_microohms / 1e6
        self._links_ohm[rail][behind - 1] = sound_ohm if ohm is None else ohm
        self._rewire()

    def set_leak(self, cell: int, ohm: float = OPEN_OHM) -> None:
        """A resistance across a cell, within it: it discharges itself. Left out: none."""
        self._leaks_ohm[self._index(cell)] = ohm
        self._rewire()

    def set_dead(self, cell: int, dead: bool) -> None:
        """A dead cell takes and gives nothing."""
        self._dead[self._index(cell)] = dead
        self._rewire()

    # --- in time

    def feed(self, feed_a: float) -> None:
        """From now on this current is fed; solves the ladder."""
        self.volts, self.amperes = self.ladder.solve(self.emfs_v, feed_a)

    def settle(self) -> None:
        """Resistances follow the temperature, in small steps."""
        if abs(self.celsius - self._wired_c) >= REWIRE_K:
            self._rewire()

    def ahead(self, span_s: float, feeding: Feeding) -> Ahead:
        """After so many seconds, all currents going from their present values in straight lines.

        Implicit, and so stable however stiff: at the end each cell looks like an EMF behind a
        larger resistance, the rungs of another ladder. Polarisation is integrated exactly,
        the open-circuit curve by its mean slope over the span.
        """
        fast, slow = _Ramp(span_s / self._fast_s), _Ramp(span_s / self._slow_s)
        half = span_s / 2 / self._coulombs
        now_a = self.amperes
        slopes_then = self._curve.at(self.socs + 2 * half * now_a)[1]
        charging_ohm = (self._slopes + slopes_then) / 2 * half
        builds_ohm = charging_ohm + self._fast_ohm * fast.last + self._slow_ohm * slow.last
        first_ohm = charging_ohm + self._fast_ohm * fast.first + self._slow_ohm * slow.first
        behind_v = (
            self._rest_emfs_v + fast.kept * self._fast_v + slow.kept * self._slow_v
        ) + first_ohm * now_a
        between_a, shares = self._currents(behind_v, builds_ohm)
        feed_a = 0.0
        if self.ladder.fed:
            weights = self.ladder.shares
            rest_v = float(weights @ (behind_v + builds_ohm * between_a))
            feed_a = feeding(rest_v, self.ladder.feed_ohm + float(weights @ (builds_ohm * shares)))
        then_a = between_a + shares * feed_a
        socs = self.socs + half * (now_a + then_a)
        fast_v = fast.after(self._fast_v, self._fast_ohm, now_a, then_a)
        slow_v = slow.after(self._slow_v, self._slow_ohm, now_a, then_a)
        rest_emfs_v, slopes = self._curve.at(socs)
        rest_emfs_v += self._entropic_v
        emfs_v = rest_emfs_v + fast_v + slow_v
        error_v = max(
            np.abs(emfs_v - self.emfs_v - span_s * self._emfs_v_per_s()).max(),
            np.abs(emfs_v - behind_v - builds_ohm * then_a).max(),
        )
        volts = self.ladder.solve(emfs_v, feed_a)[0]
        return Ahead(feed_a, socs, fast_v, slow_v, rest_emfs_v, slopes, volts, float(error_v))

    def most_ohm(self, span_s: float) -> float:
        """What the feed feels at most, of all that builds up within so many seconds included."""
        steepest = self._curve.at(np.linspace(float(self.socs.min()), FULLEST, FINELY))[1].max()
        charging_ohm = steepest * span_s / 2 / self._coulombs
        builds_ohm = charging_ohm + self._fast_ohm + self._slow_ohm
        return self.ladder.feed_ohm + float((self.ladder.shares**2) @ builds_ohm)

    def arrive(self, ahead: Ahead) -> None:
        self.socs, self._fast_v, self._slow_v = ahead.socs, ahead.fast_v, ahead.slow_v
        self._rest_emfs_v, self._slopes = ahead.rest_emfs_v, ahead.slopes
        self.emfs_v = self._rest_emfs_v + self._fast_v + self._slow_v

    def _currents(self, behind_v: Floats, builds_ohm: Floats) -> tuple[Floats, Floats]:
        """Into cells with so much more resistance: with nothing fed, and by each ampere fed."""
        equalising_s = self.ladder.equalising_s
        matrix = equalising_s * -builds_ohm
        matrix.flat[:: len(matrix) + 1] += 1.0
        right = np.empty((len(matrix), 2))
        right[:, 0], right[:, 1] = equalising_s @ behind_v, self.ladder.shares
        found = np.linalg.solve(matrix, right).astype(np.float64, copy=False)
        return found[:, 0], found[:, 1]

    def _emfs_v_per_s(self) -> Floats:
        now_a = self.amperes
        return (
            self._slopes * now_a / self._coulombs
            + (self._fast_ohm * now_a - self._fast_v) / self._fast_s
            + (self._slow_ohm * now_a - self._slow_v) / self._slow_s
        )

    def _index(self, cell: int) -> int:
        if not 1 <= cell <= len(self.socs):
            raise ValueError(f"no cell {cell}: cells are 1 (front) to {len(self.socs)}")
        return cell - 1

    def _rewire(self) -> None:
        self._wired_c = self.celsius
        warm = self._resistances * (self._chemistry.resistance_factor(self.celsius) / 1000)
        self._fast_ohm = warm * self._settings.relaxation_milliohms
        self._slow_ohm = warm * self._settings.diffusion_milliohms
        self._entropic_v = self._chemistry.entropic_v(self.celsius)
        self.ladder = Ladder(
            np.where(self._dead, OPEN_OHM, warm * self._settings.resistance_milliohms),
            self._links_ohm["plus"],
            self._links_ohm["minus"],
            self._settings.feed,
            leaks_ohm=self._leaks_ohm,
            lead_ohm=self._settings.feed_lead_milliohms / 1000,
        )
        self._look_up()

    def _look_up(self) -> None:
        volts, self._slopes = self._curve.at(self.socs)
        self._rest_emfs_v = volts + self._entropic_v
        self.emfs_v = self._rest_emfs_v + self._fast_v + self._slow_v


RAILS: tuple[Rail, ...] = ("plus", "minus")


class _Ramp:
    """An RC pair under a current that goes in a straight line, over so many time constants."""

    def __init__(self, spans: float) -> None:
        self.kept = math.exp(-spans)
        mean = -math.expm1(-spans) / spans
        self.first, self.last = mean - self.kept, 1 - mean

    def after(self, volts: Floats, ohm: Floats, first_a: Floats, last_a: Floats) -> Floats:
        return self.kept * volts + ohm * (self.first * first_a + self.last * last_a)


def _spread(draw: Random, n: int, mean: float, sigma: float) -> Floats:
    sigmas = [max(-MOST_SIGMAS, min(draw.gauss(0, 1), MOST_SIGMAS)) for _ in range(n)]
    return mean + sigma * np.array(sigmas)


def _per_cell(settings: CellsSettings, name: str, n: int, otherwise: float) -> Floats:
    values: tuple[float, ...] = getattr(settings, name)
    if len(values) > n:
        raise ValueError(
            f"cells.{name} has {len(values)} values, but the bank has {n} cells: leave some out, "
            f"or raise bank.cells_in_parallel"
        )
    return np.array([*values, *[otherwise] * (n - len(values))])
