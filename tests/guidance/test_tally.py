"""The tally alone: exact integrals, gaps, the shunt's zero, and an uncertainty that holds.

Uncertainty by JCGM 100:2008 (GUM): 4.2.3 of a mean, 4.3.7 of what lies anywhere within limits,
5.1.2 the root of the sum of squares, k = 2 for about 95 %.
"""

from collections.abc import Callable
from math import exp, hypot, pi, sin, sqrt
from random import Random

import pytest
from cycles import SHUNT, Value, cycle, told_closed, told_open
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.control.remembered import OF_A_SESSION, TALLY
from supervisor.guidance.tally import Tally
from supervisor.measurement.uncertainty import Budget, current_budget
from supervisor.readings import Quality, Reading
from supervisor.settings.model import SupervisorSettings

WINDOW_S = 0.1
LONG_S = 40.0  # open: longer than the zero is learned over
LARGEST_ZERO_A, FLOWS_A = 1.0, 3.0  # of the example
MADE_U_A = 0.001  # uncertainty of a reading made here

Course = Callable[[float], Value]


@pytest.fixture
def tally(hut_settings: SupervisorSettings) -> Tally:
    return Tally(hut_settings)


def opened(tally: Tally, amperes: Course, for_s: float = LONG_S, from_s: float = 0.0) -> float:
    """Window by window; the time by then. ``amperes``: what is read, of the time since then."""
    contactor = told_open(from_s)
    for k in range(1, round(for_s / WINDOW_S) + 1):
        at_s = from_s + k * WINDOW_S
        tally.take(cycle(at_s, amperes=amperes(k * WINDOW_S), contactor=contactor), at_s)
    return from_s + for_s


def closed(
    tally: Tally, amperes: Course, for_s: float, from_s: float = 0.0, volts: Course = lambda _: 3.4
) -> float:
    """The first window comes with the closing itself."""
    contactor = told_closed(from_s)
    for k in range(round(for_s / WINDOW_S) + 1):
        at_s, since_s = from_s + k * WINDOW_S, k * WINDOW_S
        readings = cycle(at_s, front=volts(since_s), amperes=amperes(since_s), contactor=contactor)
        tally.take(readings, at_s)
    return from_s + for_s


# Integrals


def test_a_ramp_is_exact(tally: Tally) -> None:
    """0 to 100 A in 360 s: trapezoids are exact for what is straight."""
    closed(tally, lambda s: 100 * s / 360, 360.0)
    assert tally.charge_ah == pytest.approx(5.0, rel=1e-12)


def test_an_exponential_is_as_near_as_trapezoids_come(tally: Tally) -> None:
    """Convex: never too little, at most (b - a) h^2 max f'' / 12 too much (NIST DLMF 3.5(i))."""
    tau_s, for_s = 900.0, 1800.0
    closed(tally, lambda s: 100 * exp(-s / tau_s), for_s)
    exact_ah = 100 * tau_s * (1 - exp(-for_s / tau_s)) / 3600
    most_ah = for_s * WINDOW_S**2 * (100 / tau_s**2) / 12 / 3600
    assert -1e-12 < tally.charge_ah - exact_ah < most_ah


def test_energy_is_that_of_each_moment_and_not_of_means(tally: Tally) -> None:
    """Both straight, so their product is a parabola: h^2 (f'(b) - f'(a)) / 12 too much exactly."""
    for_s, rise_v, fall_a = 360.0, 0.2, 80.0
    closed(
        tally, lambda s: 100 - fall_a * s / for_s, for_s, volts=lambda s: 3.4 + rise_v * s / for_s
    )
    exact_ws = for_s * (340 + (100 * rise_v - 3.4 * fall_a) / 2 - rise_v * fall_a / 3)
    bends = -2 * rise_v * fall_a / for_s**2
    too_much_ws = WINDOW_S**2 * bends * for_s / 12
    assert tally.energy_wh * 3600 == pytest.approx(exact_ws + too_much_ws, rel=1e-12)


@given(
    before_a=st.floats(0, 130), after_a=st.floats(0, 130), gap=st.integers(1, 600),
    odd=st.sampled_from([Quality.NO_ANSWER, Quality.CLIPPED, float("nan"), float("inf")]),
)  # fmt: skip
@settings(max_examples=50)
def test_what_is_not_known_counts_as_the_larger_of_its_neighbours(
    hut_settings: SupervisorSettings, before_a: float, after_a: float, gap: int, odd: Value
) -> None:
    tally = Tally(hut_settings)

    def course(since_s: float) -> Value:
        k = round(since_s / WINDOW_S)
        return before_a if k < 100 else odd if k < 100 + gap else after_a

    closed(tally, course, (200 + gap) * WINDOW_S)
    told_as = WINDOW_S * (99 * before_a + (gap + 1) * max(before_a, after_a) + 100 * after_a)
    assert tally.charge_ah * 3600 == pytest.approx(told_as, rel=1e-9, abs=1e-9)


def test_what_is_read_while_open_is_no_charge(tally: Tally) -> None:
    opened(tally, lambda _: 0.9)
    assert (tally.charge_ah, tally.energy_wh, tally.charge_u_ah) == (0.0, 0.0, 0.0)


def test_what_a_first_start_knows_is_a_session_of_nothing(tally: Tally) -> None:
    assert tally.memory() == OF_A_SESSION[TALLY]


# The zero


def noisy(seed: int, mean: float, sigma: float) -> Course:
    random = Random(seed)
    return lambda _: random.gauss(mean, sigma)


@given(
    zero_a=st.floats(-0.95, 0.95),
    sigma_a=st.floats(0, 0.4),
    for_s=st.floats(4, 60),
    seed=st.integers(0, 10**6),
)
@settings(max_examples=60)
def test_the_zero_is_learned_without_a_bias_however_near_its_limit(
    hut_settings: SupervisorSettings, zero_a: float, sigma_a: float, for_s: float, seed: int
) -> None:
    """Five standard deviations of the mean, of the windows within 30 s and after the first one."""
    tally = Tally(hut_settings)
    opened(tally, noisy(seed, zero_a, sigma_a), for_s)
    windows = min(for_s - 1.1, 30.0) / WINDOW_S
    if tally.zero_a is None:
        assert abs(zero_a) + 5 * sigma_a / sqrt(windows) > LARGEST_ZERO_A
    else:
        assert tally.zero_a == pytest.approx(zero_a, abs=5 * sigma_a / sqrt(windows) + 1e-9)


def test_it_is_taken_out_of_what_flows(tally: Tally) -> None:
    from_s = opened(tally, lambda _: 0.7)
    closed(tally, lambda _: 100.7, 360.0, from_s)
    assert tally.zero_a == pytest.approx(0.7)
    assert tally.charge_ah == pytest.approx(10.0, rel=1e-12)


def test_a_current_that_flows_while_open_is_no_zero(tally: Tally) -> None:
    """A contact that bounces, or is welded: that is for failed_to_open to say."""
    opened(tally, lambda s: 80.0 if s > 20 else 0.2)
    assert tally.zero_a == pytest.approx(0.2)


@pytest.mark.parametrize("amperes", [1.001, -1.5, 2.999])
def test_a_mean_beyond_what_is_allowed_is_no_zero(tally: Tally, amperes: float) -> None:
    """Nor is what was learned before: it is so no longer."""
    from_s = opened(tally, lambda _: 0.2)
    assert tally.zero_a == pytest.approx(0.2)
    opened(tally, lambda _: amperes, from_s=from_s)
    assert tally.zero_a is None


@pytest.mark.parametrize(("for_s", "is_learned"), [(3.0, False), (3.2, True)])
def test_it_takes_two_seconds_after_the_first(tally: Tally, for_s: float, is_learned: bool) -> None:
    opened(tally, lambda _: 0.2, for_s)
    assert (tally.zero_a is not None) is is_learned


def test_each_time_open_is_learned_anew(tally: Tally) -> None:
    from_s = opened(tally, lambda _: 0.2)
    from_s = closed(tally, lambda _: 50.2, 10.0, from_s)
    opened(tally, lambda _: 0.5, 5.0, from_s)
    assert tally.zero_a == pytest.approx(0.5)


# Uncertainty


def test_a_zero_that_nobody_knows_may_lie_anywhere_within_what_is_allowed(tally: Tally) -> None:
    closed(tally, lambda _: 100.0, 360.0)
    unsure_a = hypot(MADE_U_A, 2 * LARGEST_ZERO_A / sqrt(3))
    assert tally.charge_u_ah == pytest.approx(0.1 * unsure_a, rel=1e-9)


def test_a_zero_that_was_learned_is_as_unsure_as_its_mean(tally: Tally) -> None:
    """Of 300 and one readings, 0.2 A either way in turn; the standard deviation of their mean."""
    from_s = opened(tally, lambda s: 0.1 + (0.2 if round(s / WINDOW_S) % 2 else -0.2))
    closed(tally, lambda _: 100.0, 360.0, from_s)
    unsure_a = hypot(MADE_U_A, 2 * 0.2 / sqrt(300))
    assert tally.charge_u_ah == pytest.approx(0.1 * unsure_a, rel=0.01)


def test_a_steady_zero_adds_nothing(tally: Tally) -> None:
    from_s = opened(tally, lambda _: 0.9)
    closed(tally, lambda _: 100.0, 360.0, from_s)
    assert tally.charge_u_ah == pytest.approx(0.1 * MADE_U_A, rel=1e-9)


WANDERS_A, WANDERS, MOST_MISSED = 0.2, 200, 0.05


@pytest.mark.parametrize("period_s", [1.0, 5.0, 20.0, 40.0])
@pytest.mark.parametrize("for_s", [4.0, 11.0, 22.0, 40.0])
def test_a_zero_that_wanders_is_no_better_known_than_it_stays(
    hut_settings: SupervisorSettings, period_s: float, for_s: float
) -> None:
    """Readings that follow one another are not independent (GUM 4.2.7): of 300 of them a mean is
    not as good as of 300 draws. Phases all around the circle; the zero is the long mean."""
    missed, random = 0, Random(SEED)
    for k in range(WANDERS):
        tally, phase = Tally(hut_settings), 2 * pi * k / WANDERS
        opened(
            tally,
            lambda s, phase=phase: (
                WANDERS_A * sin(phase + 2 * pi * s / period_s) + random.gauss(0, 0.02)
            ),
            for_s,
        )
        assert tally.zero_a is not None
        missed += abs(tally.zero_a) > tally._zero.unsure_a
    assert missed <= MOST_MISSED * WANDERS


@pytest.mark.parametrize("for_s", [4.0, 8.0, 15.0, 26.0])
def test_the_shorter_it_was_looked_at_the_less_it_is_known(
    hut_settings: SupervisorSettings, for_s: float
) -> None:
    """Steady or not: what is slower does not show. Never worse than one that nobody knows."""
    unsure_a = []
    for open_s in (for_s, 40.0):
        tally = Tally(hut_settings)
        opened(tally, lambda _: 0.1, open_s)
        unsure_a.append(tally._zero.unsure_a)
    assert unsure_a[1] < unsure_a[0] < 2 * LARGEST_ZERO_A / sqrt(3)


AMPERES, CHARGED_FOR_S = 100.0, 20.0
NOISE_A = 0.03  # of a window's mean
RUNS, SEED = 300, 20260117


class Chain:
    """Shunt and converter as their data sheets allow them: every limit of error somewhere between
    its two ends, the same all through a run."""

    def __init__(self, budget: Budget, zero_a: float, random: Random) -> None:
        self._drawn = [(c, random.uniform(-sqrt(3), sqrt(3))) for c in budget.contributions]
        self._zero_a, self._random = zero_a, random

    def reads(self, amperes: float) -> float:
        wrong_a = sum(drawn * c.standard(amperes) for c, drawn in self._drawn)
        return amperes + self._zero_a + wrong_a + self._random.gauss(0, NOISE_A)


def off_and_unsure(settings: SupervisorSettings, *, is_learned: bool) -> list[tuple[float, float]]:
    """Of each run: by how much the charge is off, and its expanded uncertainty, in Ah."""
    budget, random = current_budget(settings.channels.shunt), Random(SEED)
    unsure_a, runs = budget.expanded(AMPERES), []
    for _ in range(RUNS):
        tally = Tally(settings)
        # Learned, it has room for the converter's own offset: more is no zero that is allowed.
        most_a = 0.8 * LARGEST_ZERO_A if is_learned else LARGEST_ZERO_A
        chain = Chain(budget, random.uniform(-most_a, most_a), random)
        from_s = opened(tally, lambda _, c=chain: c.reads(0.0), 32.0) if is_learned else 0.0
        contactor = told_closed(from_s)
        for k in range(round(CHARGED_FOR_S / WINDOW_S) + 1):
            at_s, value = from_s + k * WINDOW_S, chain.reads(AMPERES)
            shunt = Reading(SHUNT, value, Quality.GOOD, unsure_a, at_s, value, value)
            means = cycle(at_s).scan | {SHUNT: shunt}
            tally.take(cycle(at_s, means=means, contactor=contactor), at_s)
        runs.append((tally.charge_ah - AMPERES * CHARGED_FOR_S / 3600, tally.charge_u_ah))
    return runs


@pytest.mark.parametrize("is_learned", [True, False])
def test_the_uncertainty_covers_the_truth(
    hut_settings: SupervisorSettings, is_learned: bool
) -> None:
    """About 95 %, with so many runs 92 % at the least. It errs to the wide: few errors, none beyond
    its limits, have shorter tails than the normal distribution; 2 a / sqrt(3) is more than a."""
    runs = off_and_unsure(hut_settings, is_learned=is_learned)
    assert sum(abs(off) <= unsure for off, unsure in runs) >= 0.92 * RUNS
    assert sum(abs(off) <= unsure / 2 for off, unsure in runs) <= 0.92 * RUNS, "no wider than that"


def test_there_is_no_bias(hut_settings: SupervisorSettings) -> None:
    """The mean of many runs is as near to the truth as their spread lets it be."""
    offs = [off for off, _ in off_and_unsure(hut_settings, is_learned=True)]
    mean = sum(offs) / RUNS
    spread = sqrt(sum((off - mean) ** 2 for off in offs) / (RUNS - 1))
    assert abs(mean) < 3 * spread / sqrt(RUNS)
