"""An axis shows what was measured as large as it can; limits far off are named at its edge."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from supervisor.report.in_force import Line, level
from supervisor.report.series import Floats
from supervisor.report.zoom import enlarge

LEAST = 0.004


def drawn(measured: list[float], *lines: Line, least: float = LEAST) -> Axes:
    axes: Axes = Figure().subplots()
    enlarge(axes, [np.array(measured)], lines, least=least, from_s=0.0, to_s=100.0)
    return axes


def at(value: float, words: str = "a limit") -> Line:
    return level(words, value, 0.0, 100.0)


def words(axes: Axes) -> list[str]:
    return [text.get_text() for text in axes.texts if text.get_text()]


def levels(axes: Axes) -> list[Floats]:
    return [np.asarray(line.get_ydata()) for line in axes.lines]


@given(
    st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=20),
    st.lists(st.floats(-1e6, 1e6), max_size=4),
)
def test_what_was_measured_is_in_view_and_fills_most_of_it(
    measured: list[float], limits: list[float]
) -> None:
    low, high = drawn(measured, *map(at, limits)).get_ylim()
    assert low < min(measured) <= max(measured) < high
    span = max(max(measured) - min(measured), LEAST, 1e-9 * max(map(abs, measured)))
    assert high - low < 4 * span


@given(st.lists(st.floats(-1e3, 1e3), max_size=20), st.lists(st.floats(-1e3, 1e3), max_size=4))
def test_every_limit_is_named_once(measured: list[float], limits: list[float]) -> None:
    names = [f"limit{k}" for k in range(len(limits))]
    axes = drawn(measured, *map(at, limits, names))
    said = " ".join(words(axes)).replace(",", "").split()
    assert sorted(word for word in said if word.startswith("limit")) == names


def test_a_limit_far_off_is_named_at_its_side_and_does_not_flatten_the_curve() -> None:
    axes = drawn([3.540, 3.556], at(3.65, "the maker's limit"), at(3.0, "empty"))
    assert words(axes) == ["↑ the maker's limit", "↓ empty"]
    assert levels(axes) == []
    assert axes.get_ylim()[1] < 3.57


def test_a_limit_near_by_is_a_line_with_its_words() -> None:
    axes = drawn([3.50, 3.58], at(3.60))
    assert words(axes) == ["a limit"]
    assert levels(axes)[0].tolist() == [3.60, 3.60]
    assert axes.get_ylim()[1] > 3.60


def test_noise_does_not_fill_the_axis() -> None:
    low, high = drawn([3.3, 3.3001]).get_ylim()
    assert high - low == pytest.approx(LEAST)


def test_with_nothing_measured_the_limits_are_in_view() -> None:
    low, high = drawn([float("nan")], at(3.6), at(2.5)).get_ylim()
    assert low < 2.5
    assert high > 3.6


@given(
    st.lists(
        st.floats(0.0, 12.0), min_size=2, max_size=4, unique_by=lambda amperes: round(amperes, 3)
    )
)
def test_words_of_limits_that_lie_close_do_not_cover_each_other(limits: list[float]) -> None:
    """Such as that of a small supply, and of an end of charging, beside a current of 85 A."""
    nan = float("nan")
    late = [
        Line(f"{a:.3f} A", np.array([0.0, 50.0, 50.0, 100.0]), np.array([nan, nan, a, a]))
        for a in limits
    ]
    axes = drawn([0.0, 85.0], *late)
    boxes = [text.get_window_extent() for text in axes.texts if text.get_text()]
    assert len(boxes) == len(limits)
    assert not any(one.overlaps(other) for one, other in combinations(boxes, 2))


def test_a_limit_is_seen_only_where_it_holds() -> None:
    nan = float("nan")
    first = Line("first", np.array([0.0, 40.0, 40.0, 200.0]), np.array([5.0, 5.0, nan, nan]))
    gone = Line("gone", np.array([-50.0, -10.0]), np.array([5.0, 5.0]))
    axes = drawn([4.0, 6.0], first, gone)
    assert words(axes) == ["first"]
    known = np.isfinite(levels(axes)[0])
    assert np.asarray(axes.lines[0].get_xdata())[known].max() == 40.0
