"""Thermal replica: the tables of IEC 60255-149, SciPy's integrator, and its invariants."""

from math import exp, nextafter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from supervisor.protection.heat import ThermalReplica

TAU_S = 600.0
# IEC 60255-149, tau 600 s, currents in multiples of the continuous one: seconds to a trip from
# cold, and after a prior load of 0.5 and of 0.9.
TIMES_S = {
    1.1: (1050.76, 911.90, 386.61),
    1.5: (352.67, 282.00, 84.90),
    2.0: (172.61, 133.89, 36.85),
    6.0: (16.90, 12.72, 3.25),
}
TABLE = [
    (current, prior, seconds)
    for current, times in TIMES_S.items()
    for prior, seconds in zip((0.0, 0.5, 0.9), times, strict=True)
]
currents = st.floats(0, 20)
times = st.floats(0, 1e5)
thetas = st.floats(0, 10)


def replica(theta: float = 0.0, continuous_a: float = 1.0) -> ThermalReplica:
    return ThermalReplica(continuous_a, TAU_S, theta)


@pytest.mark.parametrize(("current", "prior", "seconds"), TABLE)
def test_published_times(current: float, prior: float, seconds: float) -> None:
    """The steady heat of a prior load is its square. 0.01 s are up to 6e-4 of theta."""
    part = replica(prior**2)
    assert part.left_s(current) == pytest.approx(seconds, abs=0.01)
    part.step(current, seconds)
    assert part.theta == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("prior", [0.0, 0.5, 0.9])
def test_a_prior_load_comes_to_its_square(prior: float) -> None:
    part = replica()
    part.step(prior, 100 * TAU_S)
    assert part.theta == pytest.approx(prior**2)


def test_cooling_to_one_half() -> None:
    """IEC 60255-149, tau 600 s: 600 ln 2 = 415.888 s."""
    part = replica(1.0)
    assert part.cooling_s(0.5) == pytest.approx(415.888, abs=0.001)
    part.step(0.0, 415.888)
    assert part.theta == pytest.approx(0.5, abs=1e-6)
    assert part.cooling_s(0.5) == pytest.approx(0.0, abs=1e-3)


def test_no_hotter_needs_no_cooling() -> None:
    assert replica(0.5).cooling_s(0.5) == 0.0
    assert replica(0.0).cooling_s(0.5) == 0.0
    assert replica(nextafter(0.5, 1)).cooling_s(0.5) > 0.0


def test_one_time_constant_is_63_percent_of_the_way() -> None:
    part = ThermalReplica(continuous_a=150.0, time_constant_s=300.0)
    part.step(75.0, 300.0)
    assert part.theta == pytest.approx(0.25 * (1 - exp(-1)))


def test_starts_cold() -> None:
    assert ThermalReplica(150.0, 300.0).theta == 0.0


def test_the_continuous_current_is_borne_for_ever() -> None:
    part = replica()
    assert part.left_s(1.0) is None
    part.step(1.0, 1e9)
    assert part.theta <= 1
    just_more = part.left_s(nextafter(1.0, 2))
    assert just_more is not None


def test_nothing_is_left_at_the_limit() -> None:
    assert replica(1.0).left_s(0.0) == 0.0
    assert replica(1.0).left_s(2.0) == 0.0
    assert replica(1.5).left_s(0.5) == 0.0
    just_below = replica(nextafter(1.0, 0))
    assert just_below.left_s(0.5) is None
    assert just_below.left_s(2.0) == pytest.approx(0.0, abs=1e-12)


def test_after_does_not_step() -> None:
    part = replica(0.3)
    assert part.after(2.0, 60.0) > 0.5
    assert part.theta == 0.3


def test_scipy_agrees_on_a_varying_current() -> None:
    """tau dtheta/dt = I^2 - theta, by steps of uneven length; LSODA to 1e-10."""
    steps = [(1.3, 200.0), (0.0, 75.5), (2.1, 31.25), (0.8, 900.0), (1.05, 0.1), (0.4, 1234.5)]
    part = replica(0.2)
    for current, for_s in steps:
        theirs = solve_ivp(
            lambda _, theta, square=current**2: (square - theta) / TAU_S,
            (0.0, for_s),
            [part.theta],
            method="LSODA",
            rtol=1e-10,
            atol=1e-12,
        ).y[0][-1]
        part.step(current, for_s)
        assert part.theta == pytest.approx(theirs, rel=1e-8)


def test_scipy_agrees_on_a_ramp_cut_into_windows() -> None:
    """0 to 2 over 300 s as means of 100 ms: within 1e-4 of the integral of the ramp itself."""
    part = replica()
    for k in range(3000):
        part.step(2.0 * (k + 0.5) / 3000, 0.1)
    theirs = solve_ivp(
        lambda t, theta: ((2.0 * t / 300.0) ** 2 - theta) / TAU_S,
        (0.0, 300.0),
        [0.0],
        method="LSODA",
        rtol=1e-10,
        atol=1e-12,
    ).y[0][-1]
    assert part.theta == pytest.approx(theirs, rel=1e-4)


@given(theta=thetas, current=currents, cuts=st.lists(times, min_size=1, max_size=20))
def test_a_step_in_pieces_is_the_same_step(theta: float, current: float, cuts: list[float]) -> None:
    whole, pieces = replica(theta), replica(theta)
    whole.step(current, sum(cuts))
    for cut in cuts:
        pieces.step(current, cut)
    assert pieces.theta == pytest.approx(whole.theta, rel=1e-9, abs=1e-12)


@given(
    thetas=st.lists(thetas, min_size=2, max_size=2).map(sorted),
    currents=st.lists(currents, min_size=2, max_size=2).map(sorted),
    for_s=times,
)
def test_hotter_or_more_current_never_ends_cooler(
    thetas: list[float], currents: list[float], for_s: float
) -> None:
    cooler, hotter = replica(thetas[0]), replica(thetas[1])
    cooler.step(currents[0], for_s)
    hotter.step(currents[1], for_s)
    assert cooler.theta <= hotter.theta


@given(theta=thetas, current=currents, for_s=times)
def test_heat_stays_between_where_it_is_and_where_it_settles(
    theta: float, current: float, for_s: float
) -> None:
    part = replica(theta)
    part.step(current, for_s)
    low, high = sorted((theta, current**2))
    assert low * (1 - 1e-12) - 1e-12 <= part.theta <= high * (1 + 1e-12) + 1e-12


@given(theta=st.floats(0, 0.999), current=st.floats(1.001, 20))
def test_the_forecast_comes_true(theta: float, current: float) -> None:
    part = replica(theta)
    left_s = part.left_s(current)
    assert left_s is not None
    part.step(current, left_s)
    assert part.theta == pytest.approx(1.0, rel=1e-9)


@given(theta=st.floats(0.2, 10), to=st.floats(0.1, 0.2))
def test_the_cooling_comes_true(theta: float, to: float) -> None:
    part = replica(theta)
    part.step(0.0, part.cooling_s(to))
    assert part.theta == pytest.approx(to, rel=1e-9)
