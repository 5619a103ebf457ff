"""The resistive ladder against the closed formula and against a dense solver."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.simulator.ladder import Ladder


# Parallel ladder fed at cell 1, equal EMFs: cosh g = 1 + b/(2r), share_k =
# 2 sinh(g/2) cosh((n-k+1/2)g)/sinh(n g); computed values agree with scipy.linalg.solve to 3e-16.
@pytest.mark.parametrize(
    ("n", "link_mohm", "near", "far", "lag_mv"),
    [
        (4, 0.1, 0.326220, 0.197589, 25.726),
        (4, 0.2, 0.385403, 0.160051, 45.070),
        (8, 0.1, 0.274334, 0.051887, 44.489),
        (8, 0.2, 0.359017, 0.026387, 66.526),
    ],
)
def test_shares_of_equal_cells(
    n: int, link_mohm: float, near: float, far: float, lag_mv: float
) -> None:
    ladder = Ladder([1e-3] * n, [link_mohm / 1000] * (n - 1))
    volts, amperes = ladder.solve([3.3] * n, 200.0)
    assert amperes[0] / 200 == pytest.approx(near, abs=1e-6)
    assert amperes[-1] / 200 == pytest.approx(far, abs=1e-6)
    assert (volts[0] - volts[-1]) * 1000 == pytest.approx(lag_mv, abs=2e-3)


@pytest.mark.parametrize(("n", "b"), [(4, 0.1e-3), (4, 0.2e-3), (8, 0.1e-3)])
def test_input_resistance(n: int, b: float) -> None:
    """R_in = r(1 - sinh((n-1)g)/sinh(n g))."""
    r = 1e-3
    g = math.acosh(1 + b / (2 * r))
    expected = r * (1 - math.sinh((n - 1) * g) / math.sinh(n * g))
    assert Ladder([r] * n, [b] * (n - 1)).volts_per_ampere[0] == pytest.approx(expected)


rungs = st.floats(min_value=1e-5, max_value=1e-2)


@given(
    st.integers(min_value=1, max_value=12).flatmap(
        lambda n: st.tuples(
            st.lists(rungs, min_size=n, max_size=n),
            st.lists(st.one_of(st.none(), rungs), min_size=n - 1, max_size=n - 1),
            st.lists(st.floats(min_value=2.5, max_value=3.7), min_size=n, max_size=n),
        )
    ),
    st.floats(min_value=-200, max_value=200),
)
def test_currents_sum_up_and_agree_with_a_dense_solution(
    bank: tuple[list[float], list[float | None], list[float]], feed_a: float
) -> None:
    rungs_ohm, links_ohm, emfs = bank
    volts, amperes = Ladder(rungs_ohm, links_ohm).solve(emfs, feed_a)
    assert sum(amperes) == pytest.approx(feed_a, abs=1e-6)  # Kirchhoff's current law
    n = len(emfs)
    nodes = np.diag([1 / ohm for ohm in rungs_ohm])
    for k, ohm in enumerate(links_ohm):
        if ohm is not None:
            nodes[k : k + 2, k : k + 2] += np.array([[1, -1], [-1, 1]]) / ohm
    injected = np.array(emfs) / np.array(rungs_ohm)
    injected[0] += feed_a
    assert volts == pytest.approx(np.linalg.solve(nodes, injected).tolist(), abs=1e-9)
    assert n == len(volts)


def test_power_fed_is_power_taken_and_lost() -> None:
    rungs_ohm, links_ohm, emfs = [1e-3, 2e-3, 1e-3], [0.1e-3, 0.3e-3], [3.30, 3.31, 3.29]
    volts, amperes = Ladder(rungs_ohm, links_ohm).solve(emfs, 150.0)
    stored = sum(e * i for e, i in zip(emfs, amperes, strict=True))
    in_cells = sum(i * i * r for i, r in zip(amperes, rungs_ohm, strict=True))
    in_links = sum(
        (a - b) ** 2 / ohm for a, b, ohm in zip(volts, volts[1:], links_ohm, strict=False)
    )
    assert volts[0] * 150.0 == pytest.approx(stored + in_cells + in_links)


def test_behind_an_open_link_nothing_is_felt() -> None:
    volts, amperes = Ladder([1e-3] * 4, [0.1e-3, None, 0.1e-3]).solve([3.3] * 4, 100.0)
    assert amperes[2:] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert volts[2:] == pytest.approx([3.3, 3.3])
    assert sum(amperes[:2]) == pytest.approx(100.0)


def test_links_must_fit_the_groups() -> None:
    with pytest.raises(ValueError, match="need 3 links"):
        Ladder([1e-3] * 4, [1e-4] * 4)
