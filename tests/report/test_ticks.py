"""Numbers on the axes of time: round, in view, and few, whatever the record says."""

import re

from hypothesis import example, given
from hypothesis import strategies as st

from supervisor.report.ticks import minute_ticks, utc_ticks
from supervisor.report.timeline import Stamp, Timeline

MIDNIGHT_S = 1_779_926_400.0  # 2026-05-28 00:00:00 UTC, `date -u -d @1779926400`
MOST = 9


def one_run(length_s: float, wall_s: float = MIDNIGHT_S) -> Timeline:
    return Timeline([Stamp(1, 0.0, wall_s), Stamp(1, length_s, wall_s + length_s)])


def texts(ticks: list[tuple[float, str]]) -> list[str]:
    return [text for _, text in ticks]


@given(
    st.floats(-1e9, 1e12),
    st.one_of(st.floats(0.1, 100.0), st.floats(1.0, 1e12)),
    st.integers(3, 12),
)
@example(5e-324, 4.0, 3)
def test_minutes_are_few_and_in_view(from_s: float, length_s: float, most: int) -> None:
    """A monotonic clock that jumped by years made thousands of them."""
    to_s = from_s + length_s
    at_s = [tick.at_s for tick in minute_ticks(from_s, to_s, most)]
    assert len(at_s) <= most + 1
    assert all(from_s <= s <= to_s for s in at_s)


@given(st.floats(30.0, 1e6))
def test_there_are_always_enough_minutes_to_read_an_axis(length_s: float) -> None:
    assert len(minute_ticks(0.0, length_s, MOST)) >= 3


@given(
    st.lists(st.tuples(st.floats(0.0, 1e10), st.floats(-1e10, 1e10)), min_size=1, max_size=40),
    st.floats(0.0, 1.0),
)
def test_utc_is_few_and_in_view(runs: list[tuple[float, float]], part: float) -> None:
    stamps = [
        Stamp(run, mono_s, MIDNIGHT_S + wall_s + mono_s)
        for run, (length_s, wall_s) in enumerate(runs)
        for mono_s in (0.0, length_s)
    ]
    timeline = Timeline(stamps)
    from_s, to_s = part * timeline.ends_s / 2, timeline.ends_s + 1.0
    at_s = [tick.at_s for tick in utc_ticks(timeline, from_s, to_s, MOST)]
    assert len(at_s) <= 2 * MOST + 1
    assert at_s == sorted(at_s)
    slack_s = 1e-4 + 1e-12 * (to_s + 2e10)
    assert all(from_s - slack_s <= s <= to_s + slack_s for s in at_s)


def test_minutes_go_up_in_round_steps() -> None:
    assert texts(minute_ticks(0.0, 300.0, MOST)) == ["0", "1", "2", "3", "4", "5"]
    assert texts(minute_ticks(95.0, 168.0, MOST)) == ["1.6", "1.8", "2", "2.2", "2.4", "2.6", "2.8"]
    two_days = texts(minute_ticks(0.0, 48 * 3600.0, MOST))
    assert two_days == ["0", "360", "720", "1080", "1440", "1800", "2160", "2520", "2880"]


def test_utc_stands_at_round_hours_wherever_the_session_began() -> None:
    """It stood where the minutes stood: 20:26:51, 20:27:51."""
    began = MIDNIGHT_S + 20 * 3600 + 26 * 60 + 51
    assert texts(utc_ticks(one_run(10 * 3600.0, began), 0.0, 7.6 * 3600, MOST)) == [
        "21:00", "22:00", "23:00", "29 May", "01:00", "02:00", "03:00", "04:00",
    ]  # fmt: skip
    seconds = texts(utc_ticks(one_run(60.0, began), 0.0, 60.0, MOST))
    assert seconds == ["20:27:00", "20:27:10", "20:27:20", "20:27:30", "20:27:40", "20:27:50"]


def test_no_time_stands_within_a_break() -> None:
    """How long it was is not known: no time of it can be either."""
    stamps = [Stamp(1, 0.0, MIDNIGHT_S), Stamp(1, 600.0, MIDNIGHT_S + 600.0)]
    later = MIDNIGHT_S - 40 * 86400.0
    timeline = Timeline([*stamps, Stamp(2, 0.0, later), Stamp(2, 600.0, later + 600.0)])
    ((from_s, to_s),) = timeline.breaks()
    ticks = utc_ticks(timeline, 0.0, timeline.ends_s, MOST)
    assert not [tick for tick in ticks if from_s < tick.at_s < to_s]
    assert "18 Apr" in [tick.text for tick in ticks if tick.at_s >= to_s]


def test_after_a_step_to_another_day_the_day_is_told() -> None:
    later = MIDNIGHT_S - 40 * 86400.0 + 3700.0
    timeline = Timeline(
        [
            Stamp(1, 0.0, MIDNIGHT_S + 60.0), Stamp(1, 600.0, MIDNIGHT_S + 660.0),
            Stamp(2, 0.0, later), Stamp(2, 600.0, later + 600.0),
        ]
    )  # fmt: skip
    dated = [t for t in utc_ticks(timeline, 0.0, timeline.ends_s, MOST) if "18 Apr" in t.text]
    assert len(dated) == 1
    assert re.fullmatch(r"18 Apr 01:\d\d", dated[0].text)
