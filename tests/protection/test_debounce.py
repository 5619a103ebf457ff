"""k of n with a delay. Published check values: runs of k in a row, W. Feller, An Introduction to
Probability Theory and Its Applications: mean wait (1 - p^k) / ((1 - p) p^k)."""

from itertools import product
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.debounce import Debounce

Over = bool | None


def run_steps(k: int) -> list[tuple[int | None, int]]:
    """What follows after j overs in a row, asked of the Debounce itself.

    For each j: the length after one more over (None: tripped), and after one under.
    """
    steps: list[tuple[int | None, int]] = []
    for j in range(k):
        more, less = Debounce(k, k, 0.0), Debounce(k, k, 0.0)
        for t in range(j):
            assert not more.update(True, t)
            assert not less.update(True, t)
        tripped = more.update(True, j)
        assert not less.update(False, j)
        assert less.since_s is None  # as at the start
        steps.append((None if tripped else j + 1, 0))
    return steps


def mean_wait(k: int, p: float) -> float:
    """Readings until it trips, each over with probability p: the Markov chain solved backwards."""
    # E_j = 1 + p E_next + (1 - p) E_0, written as a_j + b_j E_0
    a, b = 0.0, 0.0
    for after_over, after_under in reversed(run_steps(k)):
        assert after_under == 0
        a, b = (1.0, 1 - p) if after_over is None else (1 + p * a, 1 - p + p * b)
    return a / (1 - b)


def probability_within(k: int, p: float, readings: int) -> float:
    steps = run_steps(k)
    alive = [1.0] + [0.0] * (k - 1)
    for _ in range(readings):
        after = [0.0] * k
        for j, (after_over, after_under) in enumerate(steps):
            after[after_under] += (1 - p) * alive[j]
            if after_over is not None:
                after[after_over] += p * alive[j]
        alive = after
    return 1 - sum(alive)


def beyond(sigmas: float) -> float:
    """Probability that a normal reading exceeds its mean by so many sigmas."""
    return 1 - NormalDist().cdf(sigmas)


@pytest.mark.parametrize(
    ("sigmas", "k", "wait"),
    [(3, 2, 549521), (3, 3, 4.07084e8), (2, 3, 86903.5), (2, 5, 1.67909e8), (0, 3, 14)],
)
def test_mean_wait_for_a_run(sigmas: float, k: int, wait: float) -> None:
    assert mean_wait(k, beyond(sigmas)) == pytest.approx(wait, rel=5e-6)


@pytest.mark.parametrize(
    ("sigmas", "k", "probability"),
    [(3, 2, 6.52797e-3), (3, 3, 8.83844e-6), (2, 3, 4.05583e-2), (2, 5, 2.14162e-5)],
)
def test_probability_of_a_run_within_an_hour(sigmas: float, k: int, probability: float) -> None:
    assert probability_within(k, beyond(sigmas), 3600) == pytest.approx(probability, rel=5e-6)


def test_fair_coin_three_in_a_row_in_ten() -> None:
    def trips(tosses: tuple[bool, ...]) -> bool:
        ours = Debounce(3, 3, 0.0)
        return any(ours.update(over, t) for t, over in enumerate(tosses))

    assert sum(trips(tosses) for tosses in product([False, True], repeat=10)) == 520


# The definition, read literally: timing may start at any reading over the limit from which on no
# stretch of n readings, the first ones included, has more than n - k that are not over.


def earliest_start(history: list[bool], k: int, n: int) -> int | None:
    for start in range(len(history)):
        since = history[start:]
        stretches = (since[max(0, end - n) : end] for end in range(1, len(since) + 1))
        if since[0] and all(s.count(False) <= n - k for s in stretches):
            return start
    return None


def is_tripped(history: list[bool], k: int, n: int, delay_s: float) -> bool:
    start = earliest_start(history, k, n)
    if start is None:
        return False
    return sum(history[start:][-n:]) >= k and len(history) - 1 - start >= delay_s


k_of_n = st.integers(1, 6).flatmap(lambda n: st.tuples(st.integers(1, n), st.just(n)))
overs = st.lists(st.booleans(), max_size=30)
delays = st.sampled_from([0.0, 1.0, 2.5, 7.0])


@given(k_of_n, delays, overs)
def test_behaves_as_defined(kn: tuple[int, int], delay_s: float, history: list[bool]) -> None:
    k, n = kn
    ours = Debounce(k, n, delay_s)
    for t, over in enumerate(history):
        tripped = ours.update(over, float(t))
        assert tripped is is_tripped(history[: t + 1], k, n, delay_s)
        start = earliest_start(history[: t + 1], k, n)
        assert ours.since_s == (None if start is None else float(start))


@given(k_of_n, delays, st.lists(st.sampled_from([True, False, None]), max_size=40))
def test_cannot_tell_changes_nothing(
    kn: tuple[int, int], delay_s: float, history: list[Over]
) -> None:
    with_gaps, without = Debounce(*kn, delay_s), Debounce(*kn, delay_s)
    for t, over in enumerate(history):
        before = with_gaps.is_tripped, with_gaps.since_s
        tripped = with_gaps.update(over, float(t))
        if over is None:
            assert (with_gaps.is_tripped, with_gaps.since_s) == before
        else:
            assert tripped is without.update(over, float(t))


@given(k_of_n, delays, overs)
def test_never_trips_with_fewer_than_k_overs(
    kn: tuple[int, int], delay_s: float, history: list[bool]
) -> None:
    k, n = kn
    ours = Debounce(k, n, delay_s)
    for t, over in enumerate(history):
        if ours.update(over, float(t)):
            assert sum(history[: t + 1][-n:]) >= k


@given(k_of_n, delays, st.lists(st.tuples(st.booleans(), st.booleans()), max_size=30))
def test_more_overs_never_put_a_trip_off(
    kn: tuple[int, int], delay_s: float, history: list[tuple[bool, bool]]
) -> None:
    lower, higher = Debounce(*kn, delay_s), Debounce(*kn, delay_s)
    for t, (over, raised) in enumerate(history):
        tripped = lower.update(over, float(t))
        assert higher.update(over or raised, float(t)) or not tripped


def test_timing_starts_with_the_first_over_and_trips_after_the_delay() -> None:
    ours = Debounce(3, 4, 1.0)
    assert [ours.update(True, t / 4) for t in range(6)] == [False] * 4 + [True, True]
    assert ours.since_s == 0.0


def test_one_under_among_four_is_forgiven_two_are_not() -> None:
    ours = Debounce(3, 4, 1.0)
    overs = [True, False, True, True, True]
    assert [ours.update(over, t / 4) for t, over in enumerate(overs)][-1]
    ours = Debounce(3, 4, 1.0)
    overs = [True, False, True, False, True]
    assert not any(ours.update(over, t / 4) for t, over in enumerate(overs))
    assert ours.since_s == 0.5  # the start has moved on to the second one over


def test_clears_when_the_overs_end() -> None:
    ours = Debounce(2, 2, 0.0)
    assert [ours.update(over, 0.0) for over in (True, True, False)] == [False, True, False]
    assert ours.since_s is None


def test_reset_forgets() -> None:
    ours = Debounce(1, 1, 0.0)
    assert ours.update(True, 5.0)
    ours.reset()
    assert (ours.is_tripped, ours.since_s) == (False, None)


@given(k_of_n, st.lists(st.tuples(st.booleans(), st.floats(-10, 10)), max_size=20))
def test_survives_a_clock_that_jumps(
    kn: tuple[int, int], history: list[tuple[bool, float]]
) -> None:
    ours = Debounce(*kn, 1.0)
    for over, now_s in history:
        ours.update(over, now_s)


@pytest.mark.parametrize(("confirm", "of"), [(0, 1), (3, 2), (-1, 4)])
def test_refuses_what_can_never_be_confirmed(confirm: int, of: int) -> None:
    with pytest.raises(ValueError, match="must be between 1 and of"):
        Debounce(confirm, of, 0.0)


def test_how_long_it_has_been_timing() -> None:
    debounce = Debounce(confirm=2, of=2, delay_s=1.0)
    assert debounce.for_s(5.0) == 0.0
    debounce.update(True, 3.0)
    assert debounce.for_s(5.0) == 2.0
    debounce.update(False, 5.5)
    assert debounce.for_s(6.0) == 0.0
