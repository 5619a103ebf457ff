"""When to look for the end of a conversion, of any chip within the data sheet's limits."""

from itertools import pairwise
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.devices.conversion_time import LAST_LOOKS, LONGEST, SHORTEST, ConversionTime

SPS = 250
NOMINAL_S = 1 / SPS


def looks_until(time: ConversionTime, ends_s: float) -> int:
    """How many looks it takes when the conversion ends then."""
    for number, look_s in enumerate(time.looks_s(), 1):
        if look_s >= ends_s:
            if number == 1:
                time.was_enough()
            return number
    raise AssertionError("gave up")


@given(share=st.floats(0.90, 1.10), seed=st.integers(0, 1 << 32))
def test_learned_it_is_waited_for_hardly_longer_than_it_takes(share: float, seed: int) -> None:
    """Data sheet: +-10 %."""
    time, looks, jitter = ConversionTime(SPS), [], Random(seed)
    for _ in range(1500):
        looks.append(looks_until(time, (share + jitter.uniform(0, 0.002)) * NOMINAL_S))
    first_s = next(time.looks_s())
    assert share - 0.005 <= first_s / NOMINAL_S <= share + 0.02
    assert sum(looks[-500:]) / 500 < 1.2


@given(ends=st.lists(st.floats(0.1, LONGEST), max_size=200))
def test_whatever_was_learned_the_looks_go_on_until_the_longest_time_and_beyond(
    ends: list[float],
) -> None:
    time = ConversionTime(SPS)
    for share in ends:
        looks_until(time, share * NOMINAL_S)
    looks = [look_s / NOMINAL_S for look_s in time.looks_s()]
    assert len(looks) <= 7
    assert SHORTEST <= looks[0] <= LONGEST
    assert all(earlier <= later for earlier, later in pairwise(looks))
    assert looks[-3:] == pytest.approx([LONGEST, *(LONGEST * late for late in LAST_LOOKS)])


def test_a_chip_that_never_ends_is_waited_for_longest_the_next_time() -> None:
    time = ConversionTime(SPS)
    for _ in range(3000):
        looks_until(time, 0.9 * NOMINAL_S)
    list(time.looks_s())
    assert next(time.looks_s()) == pytest.approx(LONGEST * NOMINAL_S)


def test_nothing_ends_sooner_than_the_data_sheet_allows() -> None:
    """Or a part of another make, which says at once that it has ended, would be asked too soon."""
    time = ConversionTime(SPS)
    for _ in range(5000):
        looks_until(time, 0.0)
    assert next(time.looks_s()) == pytest.approx(SHORTEST * NOMINAL_S)
