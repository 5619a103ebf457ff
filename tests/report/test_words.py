"""Numbers and times as they are said."""

import pytest

from supervisor.report.words import (
    breakable,
    duration,
    millivolts,
    reckoned,
    utc,
    with_error,
    without_keys,
)


@pytest.mark.parametrize(
    ("value", "error", "text"),
    [
        (25.5231, 0.0964, "25.523 ± 0.096 Ah"),
        (7841.3, 34.2, "7841 ± 34 Ah"),
        (120.26, 1.52, "120.3 ± 1.5 Ah"),
        (0.01, 0.000003, "0.010 ± 0.001 Ah"),  # never so little that it reads as none
        (25.5231, None, "25.52 Ah"),
    ],
)
def test_no_more_digits_than_the_uncertainty_leaves(
    value: float, error: float | None, text: str
) -> None:
    assert with_error(value, error, "Ah") == text


def test_durations() -> None:
    assert [duration(s) for s in (0.4, 119, 120, 7140, 7200, 172_800, None)] == [
        "0 s", "119 s", "2 min", "119 min", "2 h 00 min", "48 h 00 min", "not known",
    ]  # fmt: skip


def test_a_wild_clock_has_no_date() -> None:
    assert utc(1e18) == "no date"
    assert utc(0.0) == "1970-01-01 00:00:00"


def test_nothing_is_not_less_than_nothing() -> None:
    assert millivolts(-0.0004) == "0 mV"


def test_a_broken_key_is_escaped() -> None:
    assert breakable("trip_<b>") == "trip_<wbr>&lt;b&gt;"


def test_a_large_charge_is_written_out() -> None:
    assert [reckoned(x, "Ah") for x in (0.15231, 12345.67)] == ["0.152 Ah", "12345.7 Ah"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("that `confirm` counts in", "that “confirm” counts in"),
        ("below overvoltage.trip_volts.", "below “overvoltage trip volts”."),
        ("`bank.never_above_volts` is near", "“bank never above volts” is near"),
        ("At 3.33 to 3.45 V, e. g. by hand.", "At 3.33 to 3.45 V, e. g. by hand."),
    ],
)
def test_keys_become_words(text: str, told: str) -> None:
    assert without_keys(text) == told
