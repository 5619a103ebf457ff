"""Times of which nothing is known are shaded and named, and never too many to draw."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from drawings import said
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure

from supervisor.report.figures import figures_of
from supervisor.report.marks import marks_of
from supervisor.report.plots import View, session_plot
from supervisor.report.record import Record
from supervisor.report.timeline import Stamp, Timeline
from supervisor.report.unknown import (
    BREAK,
    NO_SAMPLES,
    UNSEEN,
    Unknown,
    draw_unknown,
    unknown_times,
)

MOST_DRAWN = 401


def silenced(record: Record, from_s: float, to_s: float) -> Record:
    """Without rows in between."""
    kept = (record.seconds.at_s <= from_s) | (record.seconds.at_s > to_s)
    return replace(record, seconds=record.seconds[kept], minutes=record.minutes[:0])


def plot(record: Record) -> str:
    figures = figures_of(record)
    view = View(record, figures, marks_of(record.events), 0.0, record.timeline.ends_s)
    return str(session_plot(view, "a session"))


def spans(times: Sequence[Unknown], to_s: float) -> list[tuple[float, float]]:
    figure = Figure()
    lanes, panel = figure.subplots(2)
    draw_unknown(lanes, [panel], times, 0.0, to_s)
    paths = [path for drawn in panel.collections for path in drawn.get_paths()]
    edges = [path.get_extents() for path in paths]
    return [(edge.x0, edge.x1) for edge in edges]


def test_a_gap_while_closed_is_shaded_and_named(charge: Record) -> None:
    record = silenced(charge, 100.0, 200.0)
    (time,) = unknown_times(record.timeline, figures_of(record))
    assert time.words == NO_SAMPLES
    assert (time.from_s, time.to_s) == pytest.approx((100.0, 200.0), abs=0.2)
    assert NO_SAMPLES in said(plot(record))


def test_a_whole_record_has_none(charge: Record) -> None:
    assert unknown_times(charge.timeline, figures_of(charge)) == []


@pytest.mark.parametrize(("away_s", "words"), [(300.0, UNSEEN), (-1e6, BREAK)])
def test_an_end_without_a_word_is_shaded(charge: Record, away_s: float, words: str) -> None:
    """Told by the wall clock; a break of the axis where that cannot be."""
    first, last = charge.timeline.stretches[0].first, charge.timeline.stretches[0].last
    killed = last._replace(mono_s=first.mono_s + 200.0, wall_s=first.wall_s + 200.0)
    begins_wall_s = killed.wall_s + away_s
    again = [Stamp(2, mono_s, begins_wall_s + mono_s) for mono_s in (0.0, 60.0)]
    record = replace(
        charge,
        timeline=Timeline([first, killed, *again]),
        events=tuple(event for event in charge.events if event.at_s < 200.0),
        seconds=charge.seconds.between(0.0, 200.0),
        minutes=charge.minutes[:0],
        close_ups=charge.close_ups[:0],
        progress=tuple(one for one in charge.progress if one.at_s < 200.0),
    )
    times = unknown_times(record.timeline, figures_of(record))
    assert [time.from_s for time in times if time.words == words] == [200.0]
    assert words in said(plot(record))


@given(
    st.lists(st.tuples(st.floats(0.0, 1e6), st.floats(0.001, 1e5)), min_size=1, max_size=500),
)
def test_thousands_are_drawn_as_few_and_none_is_left_out(gaps: list[tuple[float, float]]) -> None:
    times = [Unknown(NO_SAMPLES, from_s, from_s + length_s) for from_s, length_s in gaps]
    drawn = spans(times, 1e6 + 1.0)
    assert 1 <= len(drawn) <= MOST_DRAWN
    begins, ends = np.array(drawn).T
    for time in times:
        assert ((begins <= time.from_s + 1e-6) & (ends >= time.to_s - 1e-6)).any()


def test_one_of_a_moment_is_wide_enough_to_see() -> None:
    ((from_s, to_s),) = spans([Unknown(NO_SAMPLES, 500.0, 500.001)], 86_400.0)
    assert to_s - from_s == pytest.approx(86_400.0 / 400)
