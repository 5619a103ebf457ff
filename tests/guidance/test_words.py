"""Times as they are said: nobody is to have less time than was said, and two ends go together."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.guidance.words import between, when

UNIT_S = {"s": 1.0, "min": 60.0, "h": 3600.0}


@pytest.mark.parametrize(
    ("low_s", "high_s", "words"),
    [
        (12.9, 44.1, "12 to 45 s"),
        (95.0, 119.2, "95 to 120 s"),
        (95.0, 180.0, "1.5 to 3 min"),
        (119.9, 181.0, "1.9 to 4 min"),
        (30.0, 120.0, "0.5 to 2 min"),
        (45.0, 400.0, "0.7 to 7 min"),
        (180.0, 1190.0, "3 to 20 min"),
        (3000.0, 9000.0, "0.8 to 2.5 h"),
        (5400.0, 9000.0, "1.5 to 2.5 h"),
        (3000.0, 7100.0, "50 to 119 min"),
        (1200.0, 36000.0, "20 min to 10 h"),
        (8000.0, 20000.0, "2.2 to 5.6 h"),
        (9000.0, 43000.0, "2.5 to 12 h"),
        (40000.0, 80000.0, "11 to 23 h"),
        (180.0, 180.0, "3 min"),
        (90.0, 90.5, "90 to 91 s"),
        (0.0, 0.0, "0 s"),
        (3.0, 90000.0, "3 s to 25 h"),
    ],
)
def test_two_ends(low_s: float, high_s: float, words: str) -> None:
    assert between(low_s, high_s) == words


TIMES = st.floats(0, 1e6)


@given(TIMES, TIMES)
def test_the_true_time_lies_between_what_was_said(one_s: float, other_s: float) -> None:
    low_s, high_s = sorted((one_s, other_s))
    said = re.fullmatch(
        r"([\d.]+)(?: (s|min|h))?(?: to ([\d.]+) (s|min|h))?", between(low_s, high_s)
    )
    assert said
    low, low_unit, high, high_unit = said.groups()
    unit = high_unit or low_unit
    said_low_s = float(low) * UNIT_S[low_unit or unit]
    said_high_s = float(high or low) * UNIT_S[unit]
    assert said_low_s <= low_s + 1e-6
    assert high_s <= said_high_s + 1e-6


@pytest.mark.parametrize(
    ("low_s", "high_s", "words"),
    [(720, 1200, "in 12 to 20 min"), (0, 350, "within 6 min"), (0, 95, "within 95 s")],
)
def test_when(low_s: float, high_s: float, words: str) -> None:
    assert when(low_s, high_s) == words
