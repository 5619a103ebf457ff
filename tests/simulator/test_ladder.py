"""The resistive ladder against closed formulas, published shares and a dense solver."""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import solve

from supervisor.simulator.ladder import OPEN_OHM, Feed, Ladder

R = 1e-3


def even(n: int, rail_ohm: float, feed: Feed = "one_end") -> Ladder:
    """Cells of 1 milliohm, equal links in both rails."""
    return Ladder([R] * n, [rail_ohm] * (n - 1), [rail_ohm] * (n - 1), feed)


# Parallel ladder fed at cell 1, equal EMFs: cosh g = 1 + b/(2r), share_k =
# 2 sinh(g/2) cosh((n-k+1/2)g)/sinh(n g); computed values agree with scipy.linalg.solve to 3e-16.
# Two equal rails fed at one end: b is their sum.
@pytest.mark.parametrize(
    ("n", "both_mohm", "near", "far", "lag_mv"),
    [
        (4, 0.1, 0.326220, 0.197589, 25.726),
        (4, 0.2, 0.385403, 0.160051, 45.070),
        (8, 0.1, 0.274334, 0.051887, 44.489),
        (8, 0.2, 0.359017, 0.026387, 66.526),
    ],
)
def test_shares_of_equal_cells(
    n: int, both_mohm: float, near: float, far: float, lag_mv: float
) -> None:
    volts, amperes = even(n, both_mohm / 2000).solve(np.full(n, 3.3), 200.0)
    assert amperes[0] / 200 == pytest.approx(near, abs=1e-6)
    assert amperes[-1] / 200 == pytest.approx(far, abs=1e-6)
    assert (volts[0] - volts[-1]) * 1000 == pytest.approx(lag_mv, abs=2e-3)


@pytest.mark.parametrize(("n", "b"), [(1, 1e-4), (4, 0.1e-3), (8, 0.1e-3), (32, 2e-6), (32, 1e-3)])
def test_every_share_and_what_the_feed_feels(n: int, b: float) -> None:
    """The closed form of every cell, and R_in = r(1 - sinh((n-1)g)/sinh(n g))."""
    ladder = even(n, b / 2)
    g = math.acosh(1 + b / (2 * R))
    shares = [
        2 * math.sinh(g / 2) * math.cosh((n - k + 0.5) * g) / math.sinh(n * g)
        for k in range(1, n + 1)
    ]
    assert ladder.shares == pytest.approx(shares, rel=1e-9)
    expected = R * (1 - math.sinh((n - 1) * g) / math.sinh(n * g))
    assert ladder.feed_ohm == pytest.approx(expected, rel=1e-9)


def test_a_diagonal_feed_is_fair_to_both_ends() -> None:
    """0.1 milliohm a link in each rail, plus at the first cell, minus at the last."""
    shares = even(4, 0.1e-3, "diagonal").shares
    assert shares == pytest.approx([0.27273, 0.22727, 0.22727, 0.27273], abs=5e-6)


def test_a_feed_at_both_ends_favours_them() -> None:
    """By symmetry two ladders of half as many cells, each fed half at its end."""
    ladder, half = even(8, 0.05e-3, "both_ends"), even(4, 0.05e-3)
    assert ladder.shares == pytest.approx([*half.shares / 2, *half.shares[::-1] / 2])
    assert ladder.feed_ohm == pytest.approx((half.feed_ohm + 2 * 0.5e-3) / 2)


# --- any network, broken ones included


@dataclass(frozen=True)
class Network:
    rungs: list[float]
    leaks: list[float]
    plus: list[float]
    minus: list[float]
    emfs: list[float]
    feed: Feed

    def ladder(self) -> Ladder:
        return Ladder(self.rungs, self.plus, self.minus, self.feed, leaks_ohm=self.leaks)

    def branches(self) -> list[tuple[str, str, float]]:
        """Written down node by node, apart from the code that is tested."""
        n = len(self.rungs)
        found = [(f"p{k}", f"m{k}", ohm) for k, ohm in enumerate(self.rungs)]
        found += [(f"p{k}", f"m{k}", ohm) for k, ohm in enumerate(self.leaks)]
        found += [(f"p{k}", f"p{k + 1}", ohm) for k, ohm in enumerate(self.plus)]
        found += [(f"m{k}", f"m{k + 1}", ohm) for k, ohm in enumerate(self.minus)]
        if self.feed == "both_ends":
            found += [("P", "p0", 0.5e-3), ("P", f"p{n - 1}", 0.5e-3)]
            found += [("M", "m0", 0.5e-3), ("M", f"m{n - 1}", 0.5e-3)]
        return [branch for branch in found if math.isfinite(branch[2])]

    def terminals(self) -> tuple[str, str]:
        far = f"m{len(self.rungs) - 1}"
        return {"one_end": ("p0", "m0"), "diagonal": ("p0", far), "both_ends": ("P", "M")}[
            self.feed
        ]

    def reached(self) -> set[str]:
        """All nodes with a way to the terminal that is taken as 0 V."""
        found, new = set(), {self.terminals()[1]}
        while new:
            found |= new
            pairs = [(a, b) for a, b, _ in self.branches()]
            new = {b for a, b in pairs if a in found} | {a for a, b in pairs if b in found}
            new -= found
        return found

    def dense(self, feed_a: float) -> dict[str, float]:
        """Node voltages of what the feed reaches, by scipy.linalg.solve."""
        plus, minus = self.terminals()
        names = sorted(self.reached() - {minus})
        at = {name: k for k, name in enumerate(names)}
        matrix, injected = np.zeros((len(names), len(names))), np.zeros(len(names))
        for a, b, ohm in self.branches():
            for one, other in ((a, b), (b, a)):
                if one in at:
                    matrix[at[one], at[one]] += 1 / ohm
                    if other in at:
                        matrix[at[one], at[other]] -= 1 / ohm
        for k, (ohm, emf) in enumerate(zip(self.rungs, self.emfs, strict=True)):
            for name, sign in ((f"p{k}", 1), (f"m{k}", -1)):
                if name in at and math.isfinite(ohm):
                    injected[at[name]] += sign * emf / ohm
        injected[at[plus]] += feed_a
        return {
            minus: 0.0,
            **dict(zip(names, solve(matrix, injected, assume_a="sym"), strict=True)),
        }


ohms = st.floats(min_value=1e-6, max_value=1e-2)
or_open = st.one_of(ohms, ohms, ohms, st.just(OPEN_OHM))


@st.composite
def networks(draw: st.DrawFn) -> Network:
    n = draw(st.integers(1, 10))

    def values(of: st.SearchStrategy[float], count: int = n) -> list[float]:
        return draw(st.lists(of, min_size=count, max_size=count))

    rung = st.floats(1e-4, 1e-2)
    return Network(
        rungs=values(st.one_of(rung, rung, st.just(OPEN_OHM))),
        leaks=values(st.one_of(st.just(OPEN_OHM), st.just(OPEN_OHM), st.floats(1e-4, 1.0))),
        plus=values(or_open, n - 1),
        minus=values(or_open, n - 1),
        emfs=values(st.floats(2.5, 3.7)),
        feed=draw(st.sampled_from(["one_end", "both_ends", "diagonal"])),
    )


@given(networks(), st.floats(min_value=-200, max_value=200))
def test_any_network_agrees_with_a_dense_solution(network: Network, feed_a: float) -> None:
    """Lifted links, dead and shorted cells, parts that hang in the air: where the feed reaches."""
    ladder = network.ladder()
    plus, minus = network.terminals()
    assert ladder.fed is (plus in network.reached())
    if not ladder.fed:
        return
    volts, amperes = ladder.solve(np.array(network.emfs), feed_a)
    nodes = network.dense(feed_a)
    for k in range(len(volts)):
        if f"p{k}" in nodes and f"m{k}" in nodes:
            assert volts[k] == pytest.approx(nodes[f"p{k}"] - nodes[f"m{k}"], abs=1e-7)
    rest_v = ladder.rest_v(np.array(network.emfs))
    assert rest_v + ladder.feed_ohm * feed_a == pytest.approx(nodes[plus] - nodes[minus], abs=1e-7)
    leaks_a = volts / np.array(network.leaks)
    assert sum(amperes) + sum(leaks_a) == pytest.approx(feed_a, abs=1e-3)  # Kirchhoff


@given(networks())
def test_no_network_makes_power(network: Network) -> None:
    """Cells of one EMF, nothing fed, no leak: nothing flows anywhere, also in parts cut off."""
    sound = Network(
        network.rungs, [OPEN_OHM] * len(network.rungs), network.plus, network.minus,
        [3.3] * len(network.rungs), network.feed,
    )  # fmt: skip
    amperes = sound.ladder().solve(np.array(sound.emfs), 0.0)[1]
    assert amperes == pytest.approx(np.zeros(len(amperes)), abs=1e-5)


def test_power_fed_is_power_taken_and_lost() -> None:
    rungs_ohm, plus, minus = [1e-3, 2e-3, 1e-3], [0.1e-3, 0.3e-3], [0.2e-3, 0.05e-3]
    emfs = np.array([3.30, 3.31, 3.29])
    ladder = Ladder(rungs_ohm, plus, minus)
    volts, amperes = ladder.solve(emfs, 150.0)
    onward_a = 150.0 - np.cumsum(amperes)[:-1]
    lost_w = amperes**2 @ rungs_ohm + onward_a**2 @ (np.array(plus) + np.array(minus))
    assert volts[0] * 150.0 == pytest.approx(emfs @ amperes + lost_w)


def test_a_whole_part_cut_off_rests_by_itself() -> None:
    """Both rails are open behind the second cell: the others only even out among themselves."""
    link = [0.1e-3, OPEN_OHM, 0.1e-3]
    volts, amperes = Ladder([R] * 4, link, link).solve(np.array([3.3, 3.3, 3.4, 3.2]), 100.0)
    assert sum(amperes[:2]) == pytest.approx(100.0)
    assert amperes[2:] == pytest.approx([-0.1 / 1.1e-3, 0.1 / 1.1e-3])  # 0.2 V over 2.2 milliohms
    assert volts[2:] == pytest.approx([3.4 - R * 0.1 / 1.1e-3, 3.2 + R * 0.1 / 1.1e-3])


def test_a_feed_that_reaches_no_cell_feeds_nothing() -> None:
    ladder = Ladder([OPEN_OHM, R], [OPEN_OHM], [1e-4])
    assert not ladder.fed
    assert ladder.feed_ohm == OPEN_OHM
    volts, amperes = ladder.solve(np.array([3.3, 3.3]), 0.0)
    assert amperes == pytest.approx([0.0, 0.0], abs=1e-9)
    assert volts[1] == pytest.approx(3.3)


def test_links_must_fit_the_cells() -> None:
    with pytest.raises(ValueError, match="need 3 links"):
        Ladder([1e-3] * 4, [1e-4] * 3, [1e-4] * 4)
