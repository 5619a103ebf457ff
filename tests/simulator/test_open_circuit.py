"""Open-circuit voltage against published points, and the files it comes from."""

import itertools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from supervisor.simulator.chemistry import Chemistry, load_chemistry
from supervisor.simulator.parts.cells import CellsSettings

# Open-circuit voltage as PyBaMM evaluates the open BPX LFP example set, and its set Prada2013
# (functions of Afshar 2017 and Chen 2020); +-1 mV within a set, never across sets.
SOCS = (0.1, 0.5, 0.9, 0.95, 0.98, 0.99, 1.0)
PUBLISHED = {
    "bpx-lfp": (3.18817, 3.27807, 3.32179, 3.32269, 3.32350, 3.33399, 3.64856),
    "prada-2013": (2.97809, 3.26603, 3.31417, 3.31639, 3.35017, 3.41502, 3.60000),
}
NAMES = list(PUBLISHED)
CURVES = {name: load_chemistry(name).curve() for name in NAMES}
socs = st.floats(min_value=-0.05, max_value=1.1)


@pytest.mark.parametrize("name", NAMES)
def test_published_points(name: str) -> None:
    volts, _ = CURVES[name].at(np.array(SOCS))
    assert volts == pytest.approx(PUBLISHED[name], abs=1e-5)


@pytest.mark.parametrize("name", NAMES)
def test_is_the_pchip_of_scipy(name: str) -> None:
    points = load_chemistry(name).open_circuit
    theirs = PchipInterpolator(*zip(*points, strict=True))
    fine = np.linspace(points[0][0], points[-1][0], 20011)
    volts, slopes = CURVES[name].at(fine)
    assert np.abs(volts - theirs(fine)).max() < 1e-12
    assert slopes == pytest.approx(theirs(fine, 1), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("name", NAMES)
@given(socs, socs)
def test_more_charge_is_never_less_voltage(name: str, one: float, other: float) -> None:
    low, high = CURVES[name].at(np.array(sorted((one, other))))[0]
    assert low <= high + 1e-12


@pytest.mark.parametrize("name", NAMES)
@given(socs)
def test_slope_is_the_derivative(name: str, soc: float) -> None:
    step = 1e-7
    volts, slopes = CURVES[name].at(np.array([soc - step, soc, soc + step]))
    assert (volts[2] - volts[0]) / (2 * step) == pytest.approx(slopes[1], abs=2e-2, rel=1e-3)


def test_straight_on_at_both_ends() -> None:
    """Overcharge is as steep as the last of the charge; nothing jumps at the ends."""
    curve = CURVES["bpx-lfp"]
    volts, slopes = curve.at(np.array([1.0, 1.0 + 1e-9, 1.02, 1.05]))
    assert volts[1] == pytest.approx(volts[0], abs=1e-6)
    assert slopes[0] == pytest.approx(slopes[3])
    assert volts[3] - volts[2] == pytest.approx(0.03 * slopes[0])
    below, at = curve.at(np.array([-0.01, 0.0]))[0]
    assert below < at == 2.5


def test_flat_in_the_middle_and_steep_at_the_end() -> None:
    volts, _ = CURVES["bpx-lfp"].at(np.array([0.5, 0.9, 0.98, 1.0]))
    rises = [b - a for a, b in itertools.pairwise(volts)]
    assert rises[0] < 0.05
    assert rises[1] < 0.005
    assert rises[2] > 0.3


# --- files


def test_warmth() -> None:
    """Arrhenius: 20 kJ/mol between 25 and 5 degrees, by hand 1.786; entropy as said."""
    chemistry = Chemistry(
        name="one",
        source="none",
        open_circuit=((0.0, 3.0), (0.5, 3.2), (1.0, 3.4)),
        activation_kilojoules_per_mole=20,
        entropy_millivolts_per_kelvin=-0.1,
    )
    assert chemistry.resistance_factor(25) == 1.0
    assert chemistry.resistance_factor(5) == pytest.approx(1.786, abs=1e-3)
    assert chemistry.entropic_v(35) == pytest.approx(-0.001)


def test_a_file_of_ones_own(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text("name: mine\nsource: a sheet\nopen_circuit: [[0, 3.0], [0.5, 3.2], [1, 3.4]]\n")
    assert load_chemistry(str(path)).name == "mine"
    assert CellsSettings(chemistry=str(path)).chemistry == str(path)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("name: mine\nsource: x\nopen_circuit: [[0, 3.0], [0.5, 2.9], [1, 3.4]]\n", "must rise"),
        ("name: mine\nsource: x\nopen_circuit: [[0, 3.0], [1, 3.4]]\n", "open_circuit"),
        ("name: mine\nopen_circuit: [[0, 3.0], [0.5, 3.1], [1, 3.4]]\n", "source"),
        ("name: [\n", "mine.yaml"),
    ],
)
def test_a_bad_file_is_told_with_its_place(tmp_path: Path, content: str, words: str) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(content)
    with pytest.raises(ValueError, match=r"mine\.yaml") as found:
        load_chemistry(str(path))
    assert words in str(found.value)


def test_an_unknown_name_is_told_with_those_there_are() -> None:
    with pytest.raises(ValueError, match=r"no chemistry is named 'lead'.*bpx-lfp, prada-2013"):
        CellsSettings(chemistry="lead")
    with pytest.raises(ValueError, match="There is no such file"):
        CellsSettings(chemistry="nowhere.yaml")
