"""Which parts of a session are drawn, and that a rest under way is among them."""

from dataclasses import replace

import pytest
from drawings import said

from supervisor.report.figures import figures_of
from supervisor.report.marks import marks_of
from supervisor.report.record import Record
from supervisor.report.rest_phase import rest_phases
from supervisor.report.views import Plot, plots_of


def plots(record: Record) -> list[Plot]:
    return plots_of(record, figures_of(record), marks_of(record.events))


@pytest.fixture(scope="module")
def resting(charge: Record) -> Record:
    """The same charge, looked at before its rest check has ended."""
    events = tuple(event for event in charge.events if event.code != "rest")
    return replace(charge, events=events)


@pytest.fixture(scope="module")
def rest_plots(resting: Record) -> list[Plot]:
    return plots(resting)


def test_whole_session_end_of_charging_and_rest(charge: Record) -> None:
    drawn = plots(charge)
    assert [plot.title for plot in drawn] == [
        "The whole session", "The last 2 min before the end of charging",
        "The rest after the charge",
    ]  # fmt: skip
    assert not any(plot.leaves_out for plot in drawn)


def test_what_was_never_full_has_no_rest(tripped: Record) -> None:
    assert rest_phases(tripped, figures_of(tripped)) == []


def test_a_rest_ends_with_its_check(charge: Record) -> None:
    (phase,) = rest_phases(charge, figures_of(charge))
    assert phase.words == "rest check passed"
    assert (phase.from_s, phase.to_s) == pytest.approx((400.2, 430.0))


def test_a_rest_under_way_goes_to_the_end_of_the_record(
    resting: Record, rest_plots: list[Plot]
) -> None:
    """It was cut off a minute after the charge: the newest event was taken for the end."""
    (phase,) = rest_phases(resting, figures_of(resting))
    assert phase.to_s == resting.timeline.ends_s
    assert phase.words == "rest check not ended, 1 of 60 min"
    for plot in (rest_plots[0], rest_plots[-1]):
        assert "rest check not ended" in said(str(plot.svg))


def test_the_rest_is_drawn_with_its_own_limits(rest_plots: list[Plot]) -> None:
    words = said(str(rest_plots[-1].svg))
    assert "rests at most at 3.550 V" in words
    assert "rests at least at 3.330 V" in words
    assert "may differ at rest by 0.010 V" in words
    assert "current," not in words


def test_a_long_time_open_after_all_is_over_is_left_out(tripped: Record) -> None:
    """It would press the charge into a corner; the caption says so."""
    first, last = tripped.timeline.stretches[0].first, tripped.timeline.stretches[0].last
    later = last._replace(mono_s=last.mono_s + 86_400.0, wall_s=last.wall_s + 86_400.0)
    timeline = type(tripped.timeline)([first, later])
    whole, *others = plots(replace(tripped, timeline=timeline))
    assert whole.leaves_out
    assert [plot.title for plot in others] == ["The last 1 min before the end of charging"]
