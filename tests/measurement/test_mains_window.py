"""Published check values: averaging over a time T multiplies a sine of frequency f by sinc(fT)."""

from math import cos, hypot, pi, sin

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from supervisor.measurement.mains_window import MainsWindow, WindowGrid, integral, longest_gap_s


def response(hertz: float, window_s: float, readings: int, *, first_s: float = 0.0) -> float:
    """What a window leaves of a sine of amplitude 1, whatever its phase."""
    step_s = window_s / readings
    parts = []
    for wave in (sin, cos):
        window = MainsWindow(readings)
        for k in range(-2, readings + 3):
            t = first_s + k * step_s
            window.add(t, wave(2 * pi * hertz * t))
        closed = window.close(0.0, window_s)
        assert closed is not None
        parts.append(closed.mean)
    return hypot(*parts)


@pytest.mark.parametrize(
    ("window_ms", "hertz", "left"),
    [
        (20, 50, 0.0),
        (20, 100, 0.0),
        (20, 60, 0.155915),
        (100, 50, 0.0),
        (100, 60, 0.0),
        (100, 50.5, 0.009860),
        (125, 50, 0.036013),
        (125, 60, 0.042441),
    ],
)
def test_averaging_nulls(window_ms: float, hertz: float, left: float) -> None:
    assert response(hertz, window_ms / 1000, readings=5000) == pytest.approx(left, abs=1e-6)


@pytest.mark.parametrize("scans", range(4, 13))
@pytest.mark.parametrize("ripple_hertz", [100, 120])
@pytest.mark.parametrize("first_ms", [0.0, 1.3, 9.1])
def test_scans_that_meet_the_ripple_at_one_phase_do_not_average_it(
    scans: int, ripple_hertz: int, first_ms: float
) -> None:
    cycles = ripple_hertz // 10  # in 100 ms
    left = response(ripple_hertz, 0.1, scans, first_s=first_ms / 1000)
    if cycles % scans == 0:
        assert left == pytest.approx(1.0)
    else:
        assert left == pytest.approx(0.0, abs=1e-12)


def test_seven_scans_null_both_mains() -> None:
    assert response(100, 0.1, 7) == pytest.approx(0, abs=1e-12)
    assert response(120, 0.1, 7) == pytest.approx(0, abs=1e-12)


values = st.floats(-5, 5, allow_nan=False)
steps = st.lists(st.tuples(st.floats(0.001, 1.0), values), min_size=1, max_size=12)


def points_of(steps: list[tuple[float, float]], start_s: float) -> list[tuple[float, float]]:
    points, t = [], start_s
    for step_s, value in steps:
        t += step_s
        points.append((t, value))
    return points


@given(steps, st.floats(-3, 3), st.floats(-2, 4), st.floats(0.01, 3), st.floats(0.05, 0.95))
def test_integral_adds_up(
    steps: list[tuple[float, float]], first_s: float, a: float, length_s: float, cut: float
) -> None:
    points = points_of(steps, first_s)
    b, c = a + cut * length_s, a + length_s
    parts = integral(points, a, b) + integral(points, b, c)
    assert integral(points, a, c) == pytest.approx(parts, abs=1e-9)


@given(steps, st.floats(-3, 3), values, values)
def test_integral_of_a_line_is_exact(
    steps: list[tuple[float, float]], first_s: float, level: float, slope: float
) -> None:
    points = [(t, level + slope * t) for t, _ in points_of(steps, first_s)]
    assume(len(points) > 1)
    a, b = points[0][0], points[-1][0]
    exact = level * (b - a) + slope * (b * b - a * a) / 2
    assert integral(points, a, b) == pytest.approx(exact, abs=1e-9)


def test_ends_are_interpolated_with_the_neighbours_outside() -> None:
    window = MainsWindow(2)
    for t, value in [(-1.0, 0.0), (0.5, 3.0), (1.5, 1.0), (3.0, 4.0)]:
        window.add(t, value)
    closed = window.close(0.0, 2.0)
    assert closed is not None
    # 2.0 at 0, 3.0 at 0.5, 1.0 at 1.5, 2.0 at 2: trapezia of 1.25, 2.0 and 0.75 in 2 s
    assert closed.mean == pytest.approx(4.0 / 2)
    assert (closed.low, closed.high) == (1.0, 3.0)


def test_without_a_neighbour_the_nearest_reading_holds() -> None:
    window = MainsWindow(3)
    for t, value in [(0.2, 1.0), (0.5, 2.0), (0.8, 3.0)]:
        window.add(t, value)
    closed = window.close(0.0, 1.0)
    assert closed is not None
    assert closed.mean == pytest.approx(0.2 * 1 + 0.3 * 1.5 + 0.3 * 2.5 + 0.2 * 3)


@pytest.mark.parametrize(("good", "known"), [(7, True), (5, True), (4, False), (0, False)])
def test_fewer_than_sixty_percent_are_too_few(good: int, known: bool) -> None:
    window = MainsWindow(7)
    spread_out = [0, 6, 3, 2, 5, 1, 4]
    for k in sorted(spread_out[:good]):
        window.add(0.007 + k / 70, 3.3)
    assert (window.close(0.0, 0.1) is not None) is known


def test_a_gap_of_more_than_half_the_window_is_too_long() -> None:
    def mean_known(gap_to_s: float) -> bool:
        window = MainsWindow(7)
        for t in (0.001, 0.004, 0.008, 0.012, 0.016, gap_to_s, 0.099, 0.11):
            window.add(t, 3.3)
        return window.close(0.0, 0.1) is not None

    assert mean_known(0.065)
    assert not mean_known(0.067)


def test_gap_counts_within_the_window_only() -> None:
    points = [(-5.0, 0.0), (0.25, 0.0), (0.5, 0.0), (9.0, 0.0)]
    assert longest_gap_s(points, 0.0, 1.0) == pytest.approx(0.5)
    assert longest_gap_s([], 0.0, 1.0) == pytest.approx(1.0)


def test_a_reading_that_is_not_later_is_left_out() -> None:
    window = MainsWindow(2)
    for t, value in [(0.25, 1.0), (0.75, 1.0), (0.75, 99.0), (0.5, 99.0)]:
        window.add(t, value)
    closed = window.close(0.0, 1.0)
    assert closed is not None
    assert closed.high == 1.0


def test_windows_follow_each_other_without_loss() -> None:
    window = MainsWindow(10)
    means = []
    for k in range(101):
        t = k / 100 + 0.003
        window.add(t, t)
        if k and k % 10 == 0:
            closed = window.close(k / 100 - 0.1, k / 100)
            assert closed is not None
            means.append(closed.mean)
            assert len(window) <= 2  # the last one before the end, and the one after it
    assert means[1:] == pytest.approx([0.15 + 0.1 * k for k in range(9)])


@given(st.floats(0, 1e7), st.sampled_from([0.1, 0.2]), st.integers(0, 10**7), st.floats(0, 0.999))
def test_newest_ended_window(t0_s: float, length_s: float, k: int, part: float) -> None:
    grid = WindowGrid(t0_s, length_s)
    assert grid.newest_ended(t0_s) == -1
    end_s = grid.ends(k)[1]
    newest = grid.newest_ended(end_s + part * length_s)
    assert grid.ends(newest)[1] <= end_s + part * length_s < grid.ends(newest + 1)[1]
    assert grid.newest_ended(end_s) == k
