"""Accuracy statements of data sheets. Limits / sqrt(3): GUM (JCGM 100) 4.3.7; half a digit either
way is a step / sqrt(12). That percent is of the reading and a bare number counts the last digit:
common practice, no source."""

import math
from math import sqrt

import pytest
from hypothesis import event, given
from hypothesis import strategies as st

from supervisor.measurement.meter import Meter, UnclearAccuracy, quantity, stated

MILLIVOLT_METER = Meter(reading_percent=0.5, counts=2, resolution=0.001)


@pytest.mark.parametrize(
    "statement",
    [
        "0.5 % + 2",
        "0.5%+2",
        "0,5 % + 2",
        "±(0.5 % + 2)",
        "+-(0.5% + 2 digits)",
        "+/- [0.5 % rdg + 2 dgt]",
        "± 0.5 % ± 2 counts",
        "0.5 % of reading + 2 counts",
        "0,5 % v. M. + 2 Digits",
        "0,5 % vom Messwert + 2 D",
        "2 counts + 0.5 %",
        ".5 % + 2 LSD",
        "0.50 percent of rdg. + 2.0 counts",
        "\t0.5 %  +  2 ",
        "0.5 % + 2 mV",
    ],
)
def test_one_statement_in_many_spellings(statement: str) -> None:
    meter = stated(statement, 0.001, "V")
    assert meter.limit(3.6) == pytest.approx(0.018 + 0.002)
    assert meter.limit(-3.6) == pytest.approx(0.020)
    assert meter.limit(0) == pytest.approx(0.002)


def test_a_fixed_part_beside_counts() -> None:
    assert stated("0,1 % + 3 digits + 0,2 mV", 0.0001, "V") == Meter(0.1, 3, 0.0001, 0.0002)
    assert stated("1.5% + 5 + 200 mA", 0.1, "A") == Meter(1.5, 5, 0.1, 0.2)
    assert stated("0,025 % + 5", 0.001, "V").reading_percent == 0.025


# statement, words of the answer
UNCLEAR = [
    ("", "part of '' is missing"),
    ("   ", "missing"),
    ("0.5 % +", "missing"),
    ("0.5 % ++ 2", "missing"),
    ("()", "missing"),
    ("2", "'2' of what"),
    ("0.5 + 2", "'0.5' of what"),
    ("0.5 % + 0.002", "write 0.002 V"),
    ("0.5 % + 2,5", "no whole number of counts"),
    ("0.5 % + 0.5 %", "second time"),
    ("0.5 % + 2 + 3 digits", "second time"),
    ("0.0035 % + 0.0005 % of range", "range of 10 V is 0.005 V"),
    ("1.5 % FS", "fixed part"),
    ("0.5 % v. E.", "fixed part"),
    ("0.5 % + 1 mA", "here V is measured"),
    ("0.5 % + 1 MV", "'MV' behind a number is not understood"),
    ("0.5 % + 2 wishes", "'wishes' behind a number"),
    ("half a percent", "does not begin with a number"),
    ("-0.5 % + 2", "does not begin with a number"),
    ("−0.5 % + 2", "does not begin with a number"),
    ("0.5 % + -2", "does not begin with a number"),
    ("nan % + 2", "does not begin with a number"),
    ("٥ % + 2", "does not begin with a number"),
    ("0.5 % + 1,000", "Write 1.000 or 1000"),
    ("12 % + 2", "too coarse"),
    ("0 % + 0", "No meter is without error"),
    ("0.5 % + 2" + " " * 100, "longer than 80"),
    ("9" * 79 + "%", "too coarse"),
]


@pytest.mark.parametrize(("statement", "words"), UNCLEAR)
def test_unclear_statements_are_refused_in_words(statement: str, words: str) -> None:
    with pytest.raises(UnclearAccuracy) as refused:
        stated(statement, 0.001, "V")
    assert words in str(refused.value)


@pytest.mark.parametrize("resolution", [0.0, -0.001, math.nan, math.inf])
def test_a_resolution_that_no_display_has(resolution: float) -> None:
    with pytest.raises(UnclearAccuracy):
        stated("0.5 % + 2", resolution, "V")


@pytest.mark.parametrize("number", [-1.0, math.nan, math.inf])
@pytest.mark.parametrize("key", ["reading_percent", "counts", "fixed"])
def test_numbers_that_no_meter_has(key: str, number: float) -> None:
    with pytest.raises(UnclearAccuracy, match="plain numbers"):
        Meter(**{"reading_percent": 0.5, "counts": 2, "resolution": 0.001} | {key: number})


def assert_a_meter_or_words(text: str) -> None:
    try:
        meter = stated(text, 0.001, "V")
    except UnclearAccuracy as refused:
        event(str(refused)[:20])
    else:
        assert 0 < meter.limit(1.0) < math.inf


@given(st.text(max_size=90))
def test_any_text_is_a_meter_or_words(text: str) -> None:
    assert_a_meter_or_words(text)


BITS = st.sampled_from(
    ["0.5", "0,5", "2", " ", "%", "+", "±", "-", "(", ")", "counts", "mV", "A", "of reading", "FS",
     "\n", ".", ",", "1,000", "e5", "\u00b5V"]
)  # fmt: skip


@given(st.lists(BITS, max_size=9).map("".join))
def test_any_likely_text_is_a_meter_or_words(text: str) -> None:
    assert_a_meter_or_words(text)


@given(st.floats(0, 10), st.integers(0, 50), st.sampled_from([0.1, 0.001, 0.0001]))
def test_what_is_written_is_what_is_read(percent: float, counts: int, resolution: float) -> None:
    percent = round(percent, 4)
    if percent or counts:
        meter = stated(f"{percent:.4f} % + {counts}", resolution, "V")
        assert meter == Meter(percent, counts, resolution)


@pytest.mark.parametrize(
    ("text", "value"),
    [("0.001", 0.001), ("1 mV", 0.001), ("0,1 V", 0.1), ("100uV", 1e-4), ("100 µV", 1e-4)],
)
def test_quantities(text: str, value: float) -> None:
    assert quantity(text, "V") == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("text", ["", "V", "1 mA", "1 MV", "-1 mV", "1e-3", "1 mV 2", "one"])
def test_what_is_no_quantity(text: str) -> None:
    with pytest.raises(UnclearAccuracy):
        quantity(text, "V")


def test_shared_and_own_parts_of_a_reading() -> None:
    """3.6 V, 0.5 % + 2 counts of 1 mV: limit 20 mV, so 11.547 mV; half a digit: 0.28868 mV."""
    assert MILLIVOLT_METER.systematic(3.6) == pytest.approx(11.547005e-3)
    assert MILLIVOLT_METER.random() == pytest.approx(0.2886751e-3)
    assert MILLIVOLT_METER.random(scatter=0.4e-3) == pytest.approx(sqrt(1 / 12 + 0.16) * 1e-3)
    assert MILLIVOLT_METER.standard(3.6) == pytest.approx(sqrt(400 / 3 + 1 / 12) * 1e-3)


@given(st.floats(-5, 5))
def test_the_shared_part_is_gain_and_offset_added_up(at: float) -> None:
    meter = MILLIVOLT_METER
    assert meter.systematic(at) == pytest.approx(
        meter.gain_standard * abs(at) + meter.offset_standard
    )


def test_a_voltmeter_across_a_second_shunt() -> None:
    """60 mV at 300 A of class 0.2, read by 0.1 % + 5 counts of 1 uV: 1 uV is 5 mA, and at 100 A
    the limits are 0.2 A, 0.1 A and 25 mA."""
    meter = stated("0.1 % + 5", 1e-6, "V").across(60e-3 / 300, accuracy_percent=0.2)
    assert meter.limit(100) == pytest.approx(0.325)
    assert meter.resolution == pytest.approx(0.005)
    for ohms in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(UnclearAccuracy, match="ohms"):
            MILLIVOLT_METER.across(ohms, 0.2)
