"""The differential equations of the rectifier, and their periodic steady state.

Two halves of a centre-tapped secondary, in opposite phase, each with resistance and leakage
inductance, each with a diode into one capacitor; from there a resistance to the bank's EMF::

    L di/dt + (R + RS) i + N VT ln(1 + i/IS) + v = +-sqrt(2) V sin(2 pi f t)      each half
    C dv/dt = i1 + i2 - (v - E) / R_out

Solved for many operating points at once. Half a period is enough: after it the halves have changed
places.
"""

import math
from dataclasses import dataclass

import numpy as np

from supervisor.simulator.fixed_point import Anderson, Floats

THERMAL_V = 1.380649e-23 / 1.602176634e-19 * 300.15  # k T / e at 27 degrees
STEPS = 200  # in half a period
NEWTON_STEPS = 4
MOST_HALVES = 60
SETTLED_V = 1e-6
STATE_OHM = 0.01  # makes volts of the windings' currents, to be judged with the capacitor's


@dataclass(frozen=True, slots=True)
class RectifierCircuit:
    """Values of the parts; of winding and diode, each half's."""

    mains_hz: float
    winding_ohm: float
    leakage_h: float
    capacitor_f: float
    output_ohm: float
    saturation_a: float
    ideality: float
    diode_ohm: float

    @property
    def emission_v(self) -> float:
        """N VT: a diode's voltage rises by this when its current grows e-fold."""
        return self.ideality * THERMAL_V

    def steady(self, half_v: Floats, emf_v: Floats, bank_ohm: Floats) -> "Steady":
        """For each operating point: effective volts of half the secondary, EMF and resistance."""
        march = _March(self, half_v, emf_v, self.output_ohm + bank_ohm)
        march.settle()
        return march.last


@dataclass(frozen=True)
class Steady:
    """Half a period; first axis: time (and the two halves), last axis: the operating points."""

    winding_a: Floats
    capacitor_v: Floats
    diodes_w: Floats
    output_a: Floats

    def summary(self) -> Floats:
        """Rows: mean, fundamental of the ripple, peak, each winding's rms, watts in the diodes."""
        steps = len(self.output_a)
        angles = 2 * np.pi * np.arange(1, steps + 1) / steps
        cosine = 2 / steps * (np.cos(angles)[:, None] * self.output_a).sum(axis=0)
        sine = 2 / steps * (np.sin(angles)[:, None] * self.output_a).sum(axis=0)
        return np.array(
            [
                self.output_a.mean(axis=0),
                np.hypot(cosine, sine),
                self.output_a.max(axis=0),
                np.sqrt((self.winding_a**2).sum(axis=1).mean(axis=0) / 2),
                self.diodes_w.mean(axis=0),
            ]
        )


class _March:
    """Steps of the second-order backward difference: stiff diodes do not make it ring."""

    def __init__(
        self, circuit: RectifierCircuit, half_v: Floats, emf_v: Floats, ohm: Floats
    ) -> None:
        step_s = 1 / (2 * circuit.mains_hz * STEPS)
        self._circuit = circuit
        self._emf_v, self._ohm = emf_v, ohm
        self._top_v = math.sqrt(2) * half_v * np.array([[1.0], [-1.0]])
        self._henry_ohm = circuit.leakage_h / step_s
        self._farad_s = circuit.capacitor_f / step_s
        self._series_ohm = 1.5 * self._henry_ohm + circuit.winding_ohm + circuit.diode_ohm
        self._shared_ohm = 1 / (1.5 * self._farad_s + 1 / ohm)  # dv / d(i1 + i2) within a step
        self._amperes = self._amperes_before = np.zeros((2, half_v.size))
        self._volts = self._volts_before = emf_v.copy()

    def settle(self) -> None:
        """Until the halves have changed places exactly; Anderson's method helps them."""
        hasten = Anderson()
        for _ in range(MOST_HALVES):
            start = self._state()
            self.last = self._half_period()
            end = self._state()
            if float(np.abs(end - start).max()) < SETTLED_V:
                return
            self._shift(hasten.better(start, end) - end)
        raise ArithmeticError(f"no steady state after {MOST_HALVES} half-periods: {self._circuit}")

    def _state(self) -> Floats:
        return np.vstack([self._amperes * STATE_OHM, self._volts])

    def _shift(self, by: Floats) -> None:
        for name in ("_amperes", "_amperes_before"):
            setattr(self, name, getattr(self, name) + by[:2] / STATE_OHM)
        self._volts, self._volts_before = self._volts + by[2], self._volts_before + by[2]

    def _half_period(self) -> Steady:
        points = self._emf_v.size
        amperes, watts = np.empty((STEPS, 2, points)), np.empty((STEPS, points))
        volts = np.empty((STEPS, points))
        for k in range(STEPS):
            watts[k] = self._step(math.sin(math.pi * (k + 1) / STEPS))
            amperes[k], volts[k] = self._amperes, self._volts
        self._amperes, self._amperes_before = self._amperes[::-1], self._amperes_before[::-1]
        return Steady(amperes, volts, watts, (volts - self._emf_v) / self._ohm)

    def _step(self, phase: float) -> Floats:
        """To the next instant; gives the watts in the diodes there."""
        charge_a = self._farad_s * (2 * self._volts - 0.5 * self._volts_before)
        free_v = self._shared_ohm * (charge_a + self._emf_v / self._ohm)
        kept_v = self._henry_ohm * (2 * self._amperes - 0.5 * self._amperes_before)
        across_v = self._solve_diodes(self._top_v * phase + kept_v - free_v)
        amperes = self._circuit.saturation_a * np.expm1(across_v)
        self._amperes_before, self._amperes = self._amperes, amperes
        self._volts_before = self._volts
        self._volts = free_v + self._shared_ohm * (amperes[0] + amperes[1])
        drop_v = self._circuit.emission_v * across_v + self._circuit.diode_ohm * amperes
        watts: Floats = (drop_v * amperes).sum(axis=0)
        return watts

    def _solve_diodes(self, drive_v: Floats) -> Floats:
        """Each diode's voltage in units of N VT: y, where i = IS (exp(y) - 1).

        Newton's method on a convex function, from a bound above the root: it cannot overshoot.
        """
        saturation_a, emission_v = self._circuit.saturation_a, self._circuit.emission_v
        own_ohm = self._series_ohm + self._shared_ohm
        y = np.minimum(
            drive_v / emission_v, np.log1p(np.maximum(drive_v, 0) / (own_ohm * saturation_a))
        )
        for _ in range(NEWTON_STEPS):
            grown_a = saturation_a * np.exp(y)
            amperes = grown_a - saturation_a
            other_v = self._shared_ohm * amperes[::-1]
            excess_v = own_ohm * amperes + other_v + emission_v * y - drive_v
            y = y - excess_v / (own_ohm * grown_a + emission_v)
        return y
