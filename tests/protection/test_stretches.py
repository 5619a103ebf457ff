"""Means over a stretch of windows: nothing that is not believed, no gap, exact extremes."""

from math import inf, nan

import pytest
from cycles import Value, cycle
from hypothesis import given
from hypothesis import strategies as st

from supervisor.protection.sensing.stretches import Stretch, Stretches
from supervisor.readings import Quality

STEP_S = 0.125  # a window; exact in binary


def taken(stretches: Stretches, at_s: float, front: Value, amperes: Value) -> Stretch | None:
    return stretches.take(cycle(at_s, front=front, amperes=amperes))


def test_eight_windows_of_an_eighth_make_a_second() -> None:
    stretches = Stretches(1.0, STEP_S)
    for _ in range(2):
        said = [taken(stretches, k * STEP_S, 3.0 + k / 8, 10.0 - k) for k in range(8)]
        assert said[:-1] == [None] * 7
        assert said[-1] == Stretch(at_s=0.4375, volts=3.4375, amperes=6.5, low_a=3.0, high_a=10.0)


def test_the_count_is_that_of_the_length() -> None:
    stretches = Stretches(10.0, 0.1)
    said = [taken(stretches, k * 0.1, 3.3, 1.0) for k in range(100)]
    assert [k for k, stretch in enumerate(said) if stretch] == [99]


@pytest.mark.parametrize("bad", [Quality.TOO_FEW, nan, inf, -inf])
def test_a_window_that_is_not_believed_is_left_out(bad: Value) -> None:
    stretches = Stretches(0.5, STEP_S)
    values: list[tuple[Value, Value]] = [(3.0, 1.0), (bad, 9.0), (3.2, 3.0), (3.4, bad), (3.0, 1.0)]
    said = [taken(stretches, k * STEP_S, *value) for k, value in enumerate(values)]
    assert said == [None] * 5
    assert taken(stretches, 5 * STEP_S, 3.2, 3.0) == Stretch(
        pytest.approx(0.34375), pytest.approx(3.1), 2.0, 1.0, 3.0
    )


def test_only_new_windows_count() -> None:
    stretches = Stretches(0.25, STEP_S)
    assert taken(stretches, 0.0, 3.3, 1.0) is None
    assert stretches.take(cycle(0.01, new=False)) is None
    assert stretches.take(cycle(0.02, means="none yet")) is None
    assert taken(stretches, STEP_S, 3.3, 1.0) is not None


def test_too_long_a_gap_begins_it_anew() -> None:
    """Half as long again as it should be is the most."""
    stretches = Stretches(0.5, STEP_S)
    for at_s in (0.0, 0.125, 0.25):
        assert taken(stretches, at_s, 3.0, 1.0) is None
    assert taken(stretches, 0.751, 3.4, 5.0) is None
    for at_s in (0.876, 1.001):
        assert taken(stretches, at_s, 3.4, 5.0) is None
    last = taken(stretches, 1.501, 3.4, 5.0)
    assert last is not None, "0.750 s after the first is still one stretch"
    assert (last.volts, last.amperes) == (pytest.approx(3.4), 5.0)


def test_half_as_long_again_is_just_short_enough() -> None:
    stretches = Stretches(0.5, STEP_S)
    said = [taken(stretches, at_s, 3.0, 1.0) for at_s in (0.0, 0.25, 0.5, 0.75)]
    assert said[3] == Stretch(0.375, 3.0, 1.0, 1.0, 1.0)


@given(
    st.lists(st.tuples(st.floats(1, 4), st.floats(-200, 200)), min_size=10, max_size=10),
)
def test_the_means_lie_between_the_extremes(values: list[tuple[float, float]]) -> None:
    stretches = Stretches(1.0, 0.1)
    (stretch,) = filter(None, [taken(stretches, k / 10, *value) for k, value in enumerate(values)])
    currents = [amperes for _, amperes in values]
    assert (stretch.low_a, stretch.high_a) == (min(currents), max(currents))
    assert stretch.low_a - 1e-9 <= stretch.amperes <= stretch.high_a + 1e-9
    assert stretch.at_s == pytest.approx(0.45)
