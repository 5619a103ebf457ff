"""Quiet hours, by the clock on the wall: past midnight, and on days with 23 and 25 hours."""

from datetime import UTC, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.messages.quiet import both_times, is_quiet
from supervisor.messages.settings import QuietHours

ZURICH = ZoneInfo("Europe/Zurich")
DAY_MIN = 1440
TIMES = st.integers(0, DAY_MIN - 1)
ZONES = st.sampled_from(
    ["Europe/Zurich", "UTC", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu"]
)
NIGHT = QuietHours(begin="22:00", end="07:00")


def clock(minutes: int) -> str:
    return f"{minutes // 60:02}:{minutes % 60:02}"


@given(TIMES, TIMES, st.floats(0, 4e9), ZONES)
def test_quiet_is_what_lies_on_the_way_round_the_dial_from_begin_to_end(
    begin: int, end: int, wall_s: float, zone: str
) -> None:
    if begin == end:
        return
    hours = QuietHours(begin=clock(begin), end=clock(end))
    shown = datetime.fromtimestamp(wall_s, UTC).astimezone(ZoneInfo(zone))
    since_begin = (shown.hour * 60 + shown.minute - begin) % DAY_MIN
    expected = since_begin < (end - begin) % DAY_MIN
    assert is_quiet(hours, wall_s, ZoneInfo(zone)) is expected


@given(TIMES, TIMES, st.floats(0, 4e9), ZONES)
def test_of_two_that_complete_the_day_exactly_one_is_quiet(
    begin: int, end: int, wall_s: float, zone: str
) -> None:
    if begin == end:
        return
    one = QuietHours(begin=clock(begin), end=clock(end))
    other = QuietHours(begin=clock(end), end=clock(begin))
    zoned = ZoneInfo(zone)
    assert is_quiet(one, wall_s, zoned) is not is_quiet(other, wall_s, zoned)


@pytest.mark.parametrize(
    ("evening", "hours"),
    [((2026, 3, 28), 8), ((2026, 7, 1), 9), ((2026, 10, 24), 10)],
    ids=["put forward", "an ordinary night", "put back"],
)
def test_the_night_is_as_long_as_the_clock_makes_it(
    evening: tuple[int, int, int], hours: int
) -> None:
    noon_s = datetime(*evening, 12, tzinfo=ZURICH).timestamp()
    minutes = [is_quiet(NIGHT, noon_s + 60 * k, ZURICH) for k in range(24 * 60)]
    assert sum(minutes) == hours * 60
    assert sum(a != b for a, b in pairwise(minutes)) == 2  # once in and out


def test_without_quiet_hours_nothing_is_held_back() -> None:
    assert not is_quiet(None, 0.0, ZURICH)


def test_local_time_comes_with_utc_and_its_date_when_that_is_another() -> None:
    at_s = datetime(2026, 7, 1, 0, 30, tzinfo=ZURICH).timestamp()
    assert both_times(at_s, ZURICH) == "2026-07-01 00:30:00 CEST (2026-06-30 22:30:00 UTC)"


@pytest.mark.parametrize(
    ("zone", "month", "told"),
    [
        ("UTC", 7, "2026-07-01 12:30:00 UTC"),
        ("Europe/London", 1, "2026-01-01 12:30:00 UTC"),
        ("Europe/London", 7, "2026-07-01 13:30:00 BST (12:30:00 UTC)"),
        ("Africa/Abidjan", 7, "2026-07-01 12:30:00 UTC"),
    ],
)
def test_where_local_time_is_utc_it_is_told_once(zone: str, month: int, told: str) -> None:
    at_s = datetime(2026, month, 1, 12, 30, tzinfo=UTC).timestamp()
    assert both_times(at_s, ZoneInfo(zone)) == told


@pytest.mark.parametrize("wall_s", [1e30, float("nan"), -1e18])
def test_a_wild_clock_is_told_as_such(wall_s: float) -> None:
    assert "wild" in both_times(wall_s, ZURICH)
