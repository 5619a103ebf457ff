"""The rectifier's own equations against ngspice, SciPy and the closed forms of the handbooks."""

import math
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from supervisor.simulator.rectifier_circuit import RectifierCircuit, Steady

CIRCUIT = RectifierCircuit(
    mains_hz=50,
    winding_ohm=5e-3,
    leakage_h=20e-6,
    capacitor_f=0.1,
    output_ohm=5e-3,
    saturation_a=1e-8,
    ideality=1.8,
    diode_ohm=0.5e-3,
)
HARDLY_H = 1e-9
# Half V rms, EMF, what differs, then: mean A, mean V across C, winding rms A and peak A.
# ngspice 39.3 (Debian package), 1.2 s in steps of 10 us, mean over the last 20 cycles.
NGSPICE = [
    (3.5, 3.4, {}, (7.975, 3.4399, 10.10, 33.1)),
    (4.0, 3.4, {}, (26.747, 3.5337, 29.45, 83.7)),
    (4.5, 3.4, {}, (51.391, 3.6570, 52.59, 138.7)),
    (4.0, 3.4, {"mains_hz": 60}, (25.344, 3.5267, 27.65, 77.9)),
    (4.0, 3.6, {}, (20.212, 3.7011, 23.12, 68.2)),
    (4.0, 3.4, {"leakage_h": HARDLY_H}, (33.008, 3.5650, 39.22, 116.8)),
    (4.0, 3.4, {"capacitor_f": 20.0}, (29.297, 3.5465, 32.22, 91.7)),
]
# The same, without leakage inductance and ripple: the mean only.
STIFF = [(3.5, 14.589), (4.0, 44.046), (4.5, 78.876)]


def steady(circuit: RectifierCircuit, half_v: float, emf_v: float) -> Steady:
    return circuit.steady(np.array([half_v]), np.array([emf_v]), np.zeros(1))


def mean_a(circuit: RectifierCircuit, half_v: float, emf_v: float) -> float:
    return float(steady(circuit, half_v, emf_v).output_a.mean())


@pytest.mark.parametrize(("half_v", "emf_v", "parts", "expected"), NGSPICE)
def test_agrees_with_the_figures_of_ngspice(
    half_v: float, emf_v: float, parts: dict[str, float], expected: tuple[float, ...]
) -> None:
    solved = steady(replace(CIRCUIT, **parts), half_v, emf_v)
    amperes, volts, rms_a, peak_a = expected
    rms_of_both = solved.summary()[3, 0]
    assert solved.output_a.mean() == pytest.approx(amperes, rel=3e-3)
    assert solved.capacitor_v.mean() == pytest.approx(volts, abs=2e-4)
    assert rms_of_both == pytest.approx(rms_a, rel=3e-3)
    assert solved.winding_a.max() == pytest.approx(peak_a, rel=3e-3)


@pytest.mark.parametrize(("half_v", "highest_v"), [(3.5, 3.554), (4.0, 3.800), (4.5, 4.070)])
def test_the_capacitor_swings_as_far_as_in_ngspice(half_v: float, highest_v: float) -> None:
    solved = steady(CIRCUIT, half_v, 3.4)
    assert solved.capacitor_v.min() == pytest.approx(3.400, abs=1e-3)
    assert solved.capacitor_v.max() == pytest.approx(highest_v, abs=1e-3)


@pytest.mark.parametrize(("half_v", "expected_a"), STIFF)
def test_stiff_it_overstates_the_current(half_v: float, expected_a: float) -> None:
    """Without leakage inductance and ripple: ngspice again, and up to twice the real current."""
    stiff = replace(CIRCUIT, leakage_h=HARDLY_H, capacitor_f=20.0)
    assert mean_a(stiff, half_v, 3.4) == pytest.approx(expected_a, rel=3e-3)
    assert mean_a(stiff, half_v, 3.4) > 1.5 * mean_a(CIRCUIT, half_v, 3.4)


# --- ngspice itself

NETLIST = """* rectifier with a centre-tapped secondary
va a 0 sin(0 {top_v} {mains_hz})
vb b 0 sin(0 {top_v} {mains_hz} 0 0 180)
ra a a1 {winding_ohm}
rb b b1 {winding_ohm}
la a1 a2 {leakage_h} ic=0
lb b1 b2 {leakage_h} ic=0
* without these the current's end makes its steps too short
rda a2 0 100
rdb b2 0 100
da a2 c diode
db b2 c diode
.model diode d(is={saturation_a} n={ideality} rs={diode_ohm})
c c 0 {capacitor_f} ic={emf_v}
ro c e {output_ohm}
ve e 0 {emf_v}
.options temp=27 tnom=27
.control
tran 10u {end_s} 0 10u uic
meas tran amperes avg i(ve) from={from_s} to={end_s}
meas tran volts avg v(c) from={from_s} to={end_s}
meas tran lowest min v(c) from={from_s} to={end_s}
meas tran highest max v(c) from={from_s} to={end_s}
meas tran effective rms i(va) from={from_s} to={end_s}
meas tran peak min i(va) from={from_s} to={end_s}
quit
.endc
.end
"""


def ngspice(
    folder: Path, circuit: RectifierCircuit, half_v: float, emf_v: float
) -> dict[str, float]:
    """Its own measurements of the last 20 cycles of 1.2 s, from an empty winding."""
    netlist = NETLIST.format(
        top_v=math.sqrt(2) * half_v,
        emf_v=emf_v,
        from_s=1.2 - 20 / circuit.mains_hz,
        end_s=1.2,
        **{name: getattr(circuit, name) for name in circuit.__slots__},
    )
    (folder / "rectifier.cir").write_text(netlist)
    run = subprocess.run(
        ["ngspice", "-b", "rectifier.cir"],
        cwd=folder, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    found = re.findall(r"^(\w+) += +(\S+) (?:from|at)=", run.stdout, re.MULTILINE)
    assert len(found) == 6, run.stdout + run.stderr
    return {name: float(value) for name, value in found}


@pytest.mark.skipif(not shutil.which("ngspice"), reason="ngspice (Debian package) is not installed")
@pytest.mark.parametrize(
    ("half_v", "emf_v", "parts"),
    [point[:3] for point in NGSPICE]
    + [(half_v, 3.4, {"leakage_h": HARDLY_H, "capacitor_f": 20.0}) for half_v, _ in STIFF]
    + [(5.0, 3.3, {"mains_hz": 60, "winding_ohm": 4e-3, "output_ohm": 4e-3, "capacitor_f": 1.0})],
)
def test_agrees_with_ngspice_run_here(
    tmp_path: Path, half_v: float, emf_v: float, parts: dict[str, float]
) -> None:
    circuit = replace(CIRCUIT, **parts)
    theirs, ours = ngspice(tmp_path, circuit, half_v, emf_v), steady(circuit, half_v, emf_v)
    assert ours.output_a.mean() == pytest.approx(theirs["amperes"], rel=3e-3)
    assert ours.capacitor_v.mean() == pytest.approx(theirs["volts"], abs=5e-4)
    assert ours.capacitor_v.min() == pytest.approx(theirs["lowest"], abs=1e-3)
    assert ours.capacitor_v.max() == pytest.approx(theirs["highest"], abs=1e-3)
    assert ours.summary()[3, 0] == pytest.approx(theirs["effective"], rel=3e-3)
    assert ours.winding_a.max() == pytest.approx(-theirs["peak"], rel=3e-3)


# --- SciPy


def test_agrees_with_an_integrator_that_knows_nothing_of_steps() -> None:
    """SciPy LSODA on the same circuit with the windings damped: 26.7468 A, 3.53373 V."""
    solved = steady(CIRCUIT, 4.0, 3.4)
    assert solved.output_a.mean() == pytest.approx(26.7468, rel=1e-3)
    assert solved.capacitor_v.mean() == pytest.approx(3.53373, abs=1e-4)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_radau_ends_a_half_period_where_ours_does(mains_hz: float) -> None:
    """One half-period by SciPy's Radau, from our state at its start, halves swapped at its end."""
    circuit = replace(CIRCUIT, mains_hz=mains_hz)
    ours = steady(circuit, 4.0, 3.4)
    vt = circuit.emission_v

    def slopes(at_s: float, state: list[float]) -> list[float]:
        e = math.sqrt(2) * 4.0 * math.sin(2 * math.pi * mains_hz * at_s)
        v = state[2]
        rates = []
        for sign, amperes in ((1, state[0]), (-1, state[1])):
            blocked_v = 1e6 * min(amperes + 0.9e-8, 0.0)  # else it may pass -IS within a step
            diode_v = vt * math.log1p(max(amperes, -0.9e-8) / 1e-8) + blocked_v
            rates.append((sign * e - 5.5e-3 * amperes - diode_v - v) / 20e-6)
        return [*rates, (state[0] + state[1] - (v - 3.4) / 5e-3) / 0.1]

    start = [*ours.winding_a[-1, ::-1, 0], ours.capacitor_v[-1, 0]]
    solved = solve_ivp(
        slopes, (0, 0.5 / mains_hz), start, "Radau", rtol=1e-7, atol=1e-10, dense_output=True
    )
    times = np.linspace(0, 0.5 / mains_hz, 2001)
    states = solved.sol(times)
    assert states[2, -1] == pytest.approx(start[2], abs=2e-4)
    charge_as = np.trapezoid((states[2] - 3.4) / 5e-3, times)
    assert ours.output_a.mean() == pytest.approx(charge_as * 2 * mains_hz, rel=2e-3)


# --- closed forms


@pytest.mark.parametrize(
    ("half_v", "emf_v", "ohm", "drop_v", "output_ohm", "expected_a"),
    [
        (6 / math.sqrt(2), 3.0, 5e-3, 0.0, 1e-6, 261.595),
        (3.5, 3.4, 5.5e-3, 1.0, 5e-3, 15.895),
        (4.0, 3.4, 5.5e-3, 1.0, 5e-3, 47.618),
        (4.5, 3.4, 5.5e-3, 1.0, 5e-3, 84.028),
    ],
)
def test_with_a_constant_drop_it_is_the_averaged_model(
    half_v: float, emf_v: float, ohm: float, drop_v: float, output_ohm: float, expected_a: float
) -> None:
    """I = 2 Vm / (pi R) (sin f - f cos f), cos f = (Vc + Vd) / Vm, Vc = EMF + I R_out.

    A diode whose voltage hardly depends on its current: a small N. Its drop at the mean current is
    put right by the EMF. A large capacitor keeps Vc where it is.
    """
    sharp = replace(
        CIRCUIT, leakage_h=0.0, winding_ohm=ohm, diode_ohm=0.0, output_ohm=output_ohm,
        ideality=0.02, capacitor_f=100.0,
    )  # fmt: skip
    at_current_v = sharp.emission_v * math.log(expected_a / sharp.saturation_a)
    solved = steady(sharp, half_v, emf_v + drop_v - at_current_v)
    assert solved.output_a.mean() == pytest.approx(expected_a, rel=3e-3)


def test_into_a_resistor_it_is_the_handbooks_full_wave() -> None:
    """Vdc = 2 Vm / pi = 0.63662 Vm; form factor 1.11072; ripple factor 0.48343."""
    plain = replace(
        CIRCUIT, leakage_h=0.0, winding_ohm=1e-6, diode_ohm=0.0, output_ohm=1.0,
        ideality=0.001, capacitor_f=1e-7,
    )  # fmt: skip
    amperes = steady(plain, 10 / math.sqrt(2), 0.0).output_a[:, 0]
    mean, effective = amperes.mean(), math.sqrt((amperes**2).mean())
    assert mean == pytest.approx(6.3662, rel=1e-3)
    assert effective / mean == pytest.approx(1.11072, rel=1e-3)
    assert math.sqrt((effective / mean) ** 2 - 1) == pytest.approx(0.48343, rel=1e-3)


def test_the_ripples_fundamental_is_that_of_a_rectified_sine() -> None:
    """Fourier series of |sin|: 2/pi - 4/(3 pi) cos 2wt - ..., so two thirds of the mean."""
    plain = replace(
        CIRCUIT, leakage_h=0.0, winding_ohm=1e-6, diode_ohm=0.0, output_ohm=1.0,
        ideality=0.001, capacitor_f=1e-7,
    )  # fmt: skip
    mean, ripple, peak, winding, _ = steady(plain, 10 / math.sqrt(2), 0.0).summary()[:, 0]
    assert ripple / mean == pytest.approx(2 / 3, rel=1e-3)
    assert peak == pytest.approx(10.0, rel=1e-3)
    assert winding == pytest.approx(5.0, rel=1e-3), "half a sine: Vm / 2"


def test_what_goes_in_comes_out() -> None:
    """Energy of half a period: the windings' EMF = EMF of the bank + all resistances + diodes."""
    solved = steady(CIRCUIT, 4.5, 3.4)
    steps = len(solved.output_a)
    sine = math.sqrt(2) * 4.5 * np.sin(np.pi * np.arange(1, steps + 1) / steps)
    first, second, out = solved.winding_a[:, 0, 0], solved.winding_a[:, 1, 0], solved.output_a[:, 0]
    given_w = (sine * (first - second)).mean()
    taken_w = (3.4 * out + 5e-3 * out**2 + 5e-3 * (first**2 + second**2)).mean()
    assert given_w == pytest.approx(taken_w + solved.diodes_w.mean(), rel=2e-3)


def test_the_scale_of_the_build_does_not_matter() -> None:
    """Twice the current at half of every impedance and twice IS: exactly the same circuit."""
    twice = replace(
        CIRCUIT, winding_ohm=2.5e-3, leakage_h=10e-6, capacitor_f=0.2, output_ohm=2.5e-3,
        saturation_a=2e-8, diode_ohm=0.25e-3,
    )  # fmt: skip
    assert mean_a(twice, 4.2, 3.4) == pytest.approx(2 * mean_a(CIRCUIT, 4.2, 3.4), rel=1e-9)


def test_points_do_not_disturb_each_other() -> None:
    many = np.array([3.5, 4.0, 4.5])
    together = CIRCUIT.steady(many, np.full(3, 3.4), np.zeros(3)).summary()
    for k, half_v in enumerate(many):
        alone = steady(CIRCUIT, float(half_v), 3.4).summary()
        assert together[:, k] == pytest.approx(alone[:, 0], rel=1e-5)


@pytest.mark.parametrize(
    "parts",
    [
        {"winding_ohm": 3e-4, "leakage_h": 36e-6, "capacitor_f": 15.0, "output_ohm": 0.1},
        {"winding_ohm": 3e-4, "leakage_h": 170e-6, "capacitor_f": 2.8, "output_ohm": 0.03},
        {"leakage_h": 1e-3}, {"output_ohm": 1.0, "capacitor_f": 50.0}, {"capacitor_f": 1e-4},
    ],
)  # fmt: skip
def test_slow_builds_settle_too(parts: dict[str, float]) -> None:
    """Both halves conduct at once, or the capacitor takes seconds: a swing must repeat itself."""
    solved = steady(replace(CIRCUIT, **parts), 4.5, 3.4)
    assert solved.output_a.mean() > 0
    charge_a = solved.winding_a.sum(axis=1).mean() - solved.output_a.mean()
    assert charge_a == pytest.approx(0.0, abs=2e-3 * solved.output_a.mean() + 1e-2)
